// Path tracer for drain plugs: one source for CUDA (nvcc) and for the host (g++, slow, for looking).
//
// The plug is a solid of revolution about +z, its steel face at z = 0, body below; debris is a
// height map over the magnet. Distances are mm. Rays are marched along a distance bound.
#include <cmath>
#include <cstdint>
#include <cstdlib>
#ifdef __CUDACC__
#define HD __host__ __device__ inline
#else
#define HD inline
#endif

struct V { float x, y, z; };
HD V operator+(V a, V b) { return {a.x + b.x, a.y + b.y, a.z + b.z}; }
HD V operator-(V a, V b) { return {a.x - b.x, a.y - b.y, a.z - b.z}; }
HD V operator*(V a, V b) { return {a.x * b.x, a.y * b.y, a.z * b.z}; }
HD V operator*(V a, float s) { return {a.x * s, a.y * s, a.z * s}; }
HD float dot(V a, V b) { return a.x * b.x + a.y * b.y + a.z * b.z; }
HD V cross(V a, V b) { return {a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x}; }
HD V norm(V a) { return a * (1.0f / sqrtf(fmaxf(dot(a, a), 1e-20f))); }
HD float clampf(float x, float a, float b) { return fminf(fmaxf(x, a), b); }
HD V mix(V a, V b, float t) { return a * (1 - t) + b * t; }

// All floats, in the order that scene.py fills in; ints are carried as floats.
struct Scene {
  float R, chamfer, chamfer_slope, threads, pitch, thread_depth, length;
  float flange_R, flange_z, flange_t, flange_groove;
  float mag_R, mag_h, mag_fillet, dome, recess_R, recess_depth;
  float lip_r, lip_w, lip_h;                    // a raised or sunk ring on the face
  float groove_amp, groove_freq, groove_seed, groove_ecc;
  float tex_half;                               // debris map covers [-half, half]^2
  float top;                                    // highest debris z
  V steel; float steel_rough; V steel2; float stain_amt, stain_scale, stain_seed;
  V mag; float mag_rough;
  V film; float film_rough, film_spec;
  float oil, oil_scale, oil_seed; V oil_tint; float oil_haze, oil_mag;
  // background: plane through bg_o, normal bg_n
  V bg_o, bg_n, bg_u; V bg_c1, bg_c2; float bg_scale, bg_weave, bg_bump, bg_fold, bg_fold_scale, bg_seed, bg_rough, bg_spec;
  float n_clutter; float clutter[12][12];       // kind, centre 3, axis 3, radius, half-length, colour 3
  // light: sky gradient and round lamps
  V sky_top, sky_mid, sky_low; V sky_up; float sky_band, sky_seed, sky_edge;
  float n_panels; float panels[7][12];           // direction 3, side 3, half-width, half-height, softness, radiance 3
  float n_lamps; float lamps[5][8];             // direction 3, cos half-angle, radiance 3, distance (0 = far)
  V cam, right, up, fwd; float focal, cx, cy, lens, focus;
};

struct Tex { const float* h; const uint8_t* id; int n; };

struct Rng {
  uint32_t s;
  HD float u() { s ^= s << 13; s ^= s >> 17; s ^= s << 5; return (s >> 8) * (1.0f / 16777216.0f); }
};
HD uint32_t hash(uint32_t x) { x ^= x >> 16; x *= 0x7feb352dU; x ^= x >> 15; x *= 0x846ca68bU; x ^= x >> 16; return x; }
HD float hash3(int x, int y, int z) { return (hash(x * 73856093u ^ hash(y * 19349663u ^ hash(z * 83492791u))) >> 8) * (1.0f / 16777216.0f); }
HD float noise(float x, float y, float z) {
  float fx = floorf(x), fy = floorf(y), fz = floorf(z);
  int ix = (int)fx, iy = (int)fy, iz = (int)fz;
  float u = x - fx, v = y - fy, w = z - fz;
  u = u * u * (3 - 2 * u); v = v * v * (3 - 2 * v); w = w * w * (3 - 2 * w);
  float r = 0;
  for (int k = 0; k < 8; k++) {
    int a = k & 1, b = (k >> 1) & 1, c = k >> 2;
    r += hash3(ix + a, iy + b, iz + c) * (a ? u : 1 - u) * (b ? v : 1 - v) * (c ? w : 1 - w);
  }
  return r * 2 - 1;
}
HD float fbm(float x, float y, float z, int n) {
  float s = 0, a = 0.5f;
  for (int i = 0; i < n; i++) { s += a * noise(x, y, z + 17 * i); x *= 2.03f; y *= 2.03f; z *= 2.03f; a *= 0.5f; }
  return s;
}

HD float box2(float r, float z, float r1, float z0, float z1) {  // solid disc r < r1, z0 < z < z1
  float dr = r - r1, dz = fabsf(z - 0.5f * (z0 + z1)) - 0.5f * (z1 - z0);
  float a = fmaxf(dr, 0), b = fmaxf(dz, 0);
  return sqrtf(a * a + b * b) + fminf(fmaxf(dr, dz), 0.0f);
}
HD float tex(const float* h, int n, float u, float v) {
  u = clampf(u, 0, n - 1.001f); v = clampf(v, 0, n - 1.001f);
  int i = (int)u, j = (int)v; float a = u - i, b = v - j;
  const float* p = h + (size_t)j * n + i;
  return (p[0] * (1 - a) + p[1] * a) * (1 - b) + (p[n] * (1 - a) + p[n + 1] * a) * b;
}
enum { STEEL = 1, MAGNET = 2, FILM = 3, BACK = 4, CLUTTER = 20, FLAKE = 50 };  // debris ids: FILM, or FLAKE + k

HD float plug(const Scene& s, V p, float r, int& id) {
  float R = s.R;
  if (s.threads > 0.5f && p.z < -s.chamfer * 1.2f) {
    float ph = p.z / s.pitch + atan2f(p.y, p.x) * 0.15915494f;
    ph -= floorf(ph);
    float tri = fabsf(ph - 0.5f) * 2;
    R -= s.thread_depth * clampf(tri * 1.25f - 0.1f, 0, 1);
  }
  float d = box2(r, p.z, R, -s.length, 0);
  float slope = s.chamfer_slope;                 // chamfer: radius falls by `chamfer` over chamfer*slope of height
  float cut = (r - (s.R - s.chamfer)) * slope + p.z;
  d = fmaxf(d, cut / sqrtf(1 + slope * slope));
  if (s.lip_h != 0) {
    float q = fabsf(r - s.lip_r) - s.lip_w;
    if (s.lip_h > 0) d = fminf(d, fmaxf(q, fabsf(p.z) - s.lip_h));
    else d = fmaxf(d, -fmaxf(q, fabsf(p.z) + s.lip_h));
  }
  d = fmaxf(d, -fmaxf(r - s.recess_R, -(p.z + s.recess_depth)));
  id = STEEL;
  if (s.flange_R > 0) {
    float f = box2(r, p.z, s.flange_R - 0.3f, s.flange_z - s.flange_t + 0.3f, s.flange_z - 0.3f) - 0.3f;
    if (s.flange_groove > 0) f = fmaxf(f, -fmaxf(fabsf(r - s.flange_groove) - 0.25f, fabsf(p.z - s.flange_z) - 0.35f));
    d = fminf(d, f);
  }
  float top = s.mag_h - s.dome * r * r / (s.mag_R * s.mag_R);
  float fl = s.mag_fillet;
  float m = box2(r, p.z, s.mag_R - fl, -s.recess_depth - 2, top - fl) - fl;
  if (m < d) { d = m; id = MAGNET; }
  return d;
}
HD float clutter(const Scene& s, V p, int& which) {
  float best = 1e9f;
  for (int k = 0; k < (int)s.n_clutter; k++) {
    const float* c = s.clutter[k];
    V q = p - V{c[1], c[2], c[3]}, ax = {c[4], c[5], c[6]};
    float t = dot(q, ax); V w = q - ax * t; float d;
    if (c[0] < 0.5f) d = fmaxf(sqrtf(dot(w, w)) - c[7], fabsf(t) - c[8]);
    else {
      V b = norm(cross(ax, fabsf(ax.x) < 0.8f ? V{1, 0, 0} : V{0, 1, 0})), e = cross(ax, b);
      d = fmaxf(fmaxf(fabsf(dot(q, b)) - c[7], fabsf(dot(q, e)) - c[7] * 0.6f), fabsf(t) - c[8]);
    }
    if (d < best) { best = d; which = k; }
  }
  return best;
}
HD float back(const Scene& s, V p) {
  float d = dot(p - s.bg_o, s.bg_n);
  if (s.bg_fold > 0 && d < 3 * s.bg_fold) {
    V v = cross(s.bg_n, s.bg_u);
    float a = dot(p, s.bg_u) * s.bg_fold_scale, b = dot(p, v) * s.bg_fold_scale;
    d -= s.bg_fold * fbm(a, b * 0.5f, s.bg_seed, 3);
  }
  return d;
}
HD float scene(const Scene& s, const Tex& t, V p, int& id) {
  float r = sqrtf(p.x * p.x + p.y * p.y);
  float d = plug(s, p, r, id);
  if (r < fminf(s.tex_half, s.R - s.chamfer - 0.05f) * 0.999f) {
    float over = p.z - s.top;
    if (over > 0.3f) { d = fminf(d, over); }
    else if (p.z > -s.recess_depth - 1) {
      float k = (t.n - 1) / (2 * s.tex_half);
      float u = (p.x + s.tex_half) * k, v = (p.y + s.tex_half) * k;
      float q = (p.z - tex(t.h, t.n, u, v)) * 0.4f;
      int i = t.id[(size_t)(v + 0.5f) * t.n + (int)(u + 0.5f)];
      if (q < d) { d = q; if (i) id = i; }
    }
  }
  float b = back(s, p) * (s.bg_fold > 0 ? 0.7f : 1.0f);
  if (b < d) { d = b; id = BACK; }
  int which = 0; float c = clutter(s, p, which);
  if (c < d) { d = c; id = CLUTTER + which; }
  return d;
}
HD bool march(const Scene& s, const Tex& t, V o, V d, float far_, float& at, int& id) {
  float x = 0.0f;
  for (int i = 0; i < 140; i++) {
    V p = o + d * x;
    float q = scene(s, t, p, id);
    if (q < 0.002f + 1e-5f * x) { at = x; return true; }
    x += q;
    if (x > far_) return false;
  }
  at = x; return x < far_;
}
HD V gradient(const Scene& s, const Tex& t, V p, float e) {
  int k;
  float d = scene(s, t, p, k);
  return norm(V{scene(s, t, p + V{e, 0, 0}, k) - d, scene(s, t, p + V{0, e, 0}, k) - d, scene(s, t, p + V{0, 0, e}, k) - d});
}
HD V env(const Scene& s, V d) {
  float h = dot(d, s.sky_up);
  V c = h > 0 ? mix(s.sky_mid, s.sky_top, sqrtf(h)) : mix(s.sky_mid, s.sky_low, fminf(1.f, sqrtf(-h) * s.sky_edge));
  for (int i = 0; i < (int)s.n_panels; i++) {
    const float* q = s.panels[i];
    V o = {q[0], q[1], q[2]}, a = {q[3], q[4], q[5]}, b = cross(o, a);
    float z = dot(d, o);
    if (z < 0.05f) continue;
    float m = fminf(q[6] - fabsf(dot(d, a) / z), q[7] - fabsf(dot(d, b) / z));
    c = mix(c, V{q[9], q[10], q[11]}, clampf(m / q[8] + 0.5f, 0, 1));
  }
  float b = fbm(d.x * 2.2f, d.y * 2.2f, d.z * 2.2f + s.sky_seed, 2);
  return c * (1 + s.sky_band * clampf(b * 3, -0.9f, 1.5f));
}
HD V lamp_light(const Scene& s, V o, V d) {
  V c = {0, 0, 0};
  for (int i = 0; i < (int)s.n_lamps; i++) {
    const float* l = s.lamps[i];
    V to = {l[0], l[1], l[2]};
    if (l[7] > 0) to = norm(to * l[7] - o);
    if (dot(d, to) > l[3]) c = c + V{l[4], l[5], l[6]};
  }
  return c;
}
HD void basis(V n, V& a, V& b) { a = norm(cross(n, fabsf(n.x) < 0.7f ? V{1, 0, 0} : V{0, 1, 0})); b = cross(n, a); }
HD V cosine(V n, Rng& g) {
  float p = 6.2831853f * g.u(), r2 = g.u(), r = sqrtf(r2); V a, b; basis(n, a, b);
  return norm(a * (r * cosf(p)) + b * (r * sinf(p)) + n * sqrtf(1 - r2));
}

struct Mat { V diff, spec; float rough; };

HD float stain(const Scene& s, V p) { return fbm(p.x * s.stain_scale, p.y * s.stain_scale, p.z * s.stain_scale + s.stain_seed, 4); }

HD Mat material(const Scene& s, V p, int id, V& n) {
  Mat m;
  float r = sqrtf(p.x * p.x + p.y * p.y);
  if (id == STEEL || id == MAGNET) {
    bool st = id == STEEL;
    V c = st ? s.steel : s.mag;
    m.rough = st ? s.steel_rough : s.mag_rough;
    float q = stain(s, p);
    if (st) {
      float k = clampf((q - 0.08f) * 6, 0, 1) * s.stain_amt;
      c = mix(c, s.steel2, k);
      if (p.z > -0.05f && r < s.R - s.chamfer + 0.05f) {
        float rr = sqrtf((p.x - s.groove_ecc) * (p.x - s.groove_ecc) + p.y * p.y);
        float g = noise(rr * s.groove_freq, s.groove_seed + 0.35f * atan2f(p.y, p.x), 0) + 0.6f * noise(rr * s.groove_freq * 2.7f, s.groove_seed + 9, 0);
        if (r > 1e-3f) n = norm(n + V{p.x / r, p.y / r, 0} * (s.groove_amp * g));
      }
    } else c = c * (1 + 0.15f * q);
    float os = st ? s.oil_scale : s.oil_scale * s.oil_mag;
    float o = fbm(p.x * os, p.y * os, s.oil_seed + p.z * os, 4);
    float k = clampf((o + s.oil - 0.55f) * 40, 0, 1) * (s.oil > 0.02f);
    m.rough = m.rough * (1 - k) + fminf(m.rough, 0.06f + 0.25f * s.oil_haze) * k;
    c = c * mix(V{1, 1, 1}, s.oil_tint, k);
    m.spec = c; m.diff = c * 0.08f + V{1, 1, 1} * (k * s.oil_haze * 0.25f);
  } else if (id == BACK) {
    V v = cross(s.bg_n, s.bg_u);
    float a = dot(p, s.bg_u), b = dot(p, v);
    float f = fbm(a * s.bg_scale, b * s.bg_scale, s.bg_seed, 4);
    V c = mix(s.bg_c1, s.bg_c2, clampf(f * 1.6f + 0.3f, 0, 1));
    float st = fbm(a * 0.09f + 31, b * 0.09f, s.bg_seed, 3);
    c = c * (1 - 0.6f * clampf((st - 0.22f) * 6, 0, 1));
    if (s.bg_weave > 0) {
      float w = sinf(a * s.bg_weave) * sinf(b * s.bg_weave) + 0.5f * noise(a * 3, b * 3, 1);
      float wa = cosf(a * s.bg_weave) * sinf(b * s.bg_weave), wb = sinf(a * s.bg_weave) * cosf(b * s.bg_weave);
      n = norm(n - (s.bg_u * wa + v * wb) * s.bg_bump + s.bg_u * (0.4f * s.bg_bump * noise(a * 5, b * 5, 7)));
      c = c * (1 + 0.12f * w);
    }
    m.diff = c; m.spec = V{1, 1, 1} * s.bg_spec; m.rough = s.bg_rough;
  } else if (id == FILM) {
    float q = noise(p.x * 9, p.y * 9, p.z * 9);
    m.diff = s.film * (1 + 0.5f * q); m.spec = V{1, 1, 1} * s.film_spec; m.rough = s.film_rough;
  } else if (id >= CLUTTER && id < CLUTTER + 12) {
    const float* c = s.clutter[id - CLUTTER];
    m.diff = V{c[9], c[10], c[11]}; m.spec = V{0.3f, 0.3f, 0.3f} * (0.2f + c[9]); m.rough = 0.35f;
  } else { m.diff = m.spec = {0, 0, 0}; m.rough = 0.3f; }  // flakes: set by the caller from the table
  return m;
}

HD V trace(const Scene& s, const Tex& t, const float* flakes, V o, V d, Rng& g) {
  V sum = {0, 0, 0}, w = {1, 1, 1};
  bool see_lamps = true;
  for (int bounce = 0; bounce < 4; bounce++) {
    float at; int id;
    if (!march(s, t, o, d, 400, at, id)) {
      V c = env(s, d);
      if (see_lamps) c = c + lamp_light(s, o, d);
      return sum + w * c;
    }
    V p = o + d * at;
    V n = gradient(s, t, p, id == FILM ? 0.02f : 0.008f);
    if (dot(n, d) > 0) n = norm(n - d * (1.02f * dot(n, d)));
    Mat m = material(s, p, id, n);
    if (id >= FLAKE) {
      const float* f = flakes + 5 * (id - FLAKE);
      m.spec = V{f[0], f[1], f[2]}; m.diff = m.spec * 0.1f; m.rough = f[3];
      float k = f[4];
      n = norm(n + V{noise(p.x * 7, p.y * 7, id), noise(p.x * 7, p.y * 7, id + 50.f), 0} * k);
    }
    p = p + n * 0.006f;
    float c = clampf(-dot(n, d), 0, 1), fres = powf(1 - c, 5);
    V spec = m.spec + (V{1, 1, 1} - m.spec) * (fres * (1 - m.rough) * 0.9f);
    float ps = (spec.x + spec.y + spec.z) / 3, pd = (m.diff.x + m.diff.y + m.diff.z) / 3;
    float prob = ps / fmaxf(ps + pd, 1e-6f);
    prob = clampf(prob, pd > 0.005f ? 0.1f : 0.999f, 0.999f);
    bool is_spec = g.u() < prob;
    float rough = m.rough;
    // lamps sampled directly for diffuse and for rough reflection
    if (!is_spec || rough > 0.13f) {
      for (int i = 0; i < (int)s.n_lamps; i++) {
        const float* l = s.lamps[i];
        V to = {l[0], l[1], l[2]};
        if (l[7] > 0) to = norm(to * l[7] - p);
        float z = 1 - g.u() * (1 - l[3]), ph = 6.2831853f * g.u(), q = sqrtf(fmaxf(0.f, 1 - z * z)); V a, b; basis(to, a, b);
        V ld = norm(a * (q * cosf(ph)) + b * (q * sinf(ph)) + to * z);
        float nl = dot(n, ld);
        if (nl <= 0) continue;
        float omega = 6.2831853f * (1 - l[3]);
        V f;
        if (!is_spec) f = m.diff * (nl * 0.31831f / (1 - prob));
        else {
          V h = norm(ld - d); float nh = clampf(dot(n, h), 0, 1), a2 = rough * rough * rough * rough;
          float dd = nh * nh * (a2 - 1) + 1, D = a2 / (3.14159f * dd * dd);
          float kk = rough * rough / 2, G = 1 / ((nl * (1 - kk) + kk) * (c * (1 - kk) + kk));
          f = spec * (D * G * nl * 0.25f / prob);
        }
        float lt; int li;
        if (march(s, t, p, ld, 300, lt, li)) continue;
        sum = sum + w * f * V{l[4], l[5], l[6]} * omega;
      }
      see_lamps = false;
    } else see_lamps = true;
    if (is_spec) {
      float a = rough * rough, u = g.u(), ph = 6.2831853f * g.u();
      float ct = sqrtf((1 - u) / (1 + (a * a - 1) * u)), sn = sqrtf(fmaxf(0.f, 1 - ct * ct)); V x, y; basis(n, x, y);
      V h = norm(x * (sn * cosf(ph)) + y * (sn * sinf(ph)) + n * ct);
      V nd = d - h * (2 * dot(d, h));
      if (dot(nd, n) <= 0) return sum;
      w = w * spec * (1 / prob); d = norm(nd);
    } else { w = w * m.diff * (1 / (1 - prob)); d = cosine(n, g); }
    o = p;
    if (fmaxf(w.x, fmaxf(w.y, w.z)) < 0.02f) return sum;
  }
  return sum;
}

HD void ray(const Scene& s, float px, float py, V& o, V& d) {
  d = norm(s.fwd + s.right * ((px - s.cx) / s.focal) + s.up * (-(py - s.cy) / s.focal));
  o = s.cam;
}
HD void pixel(const Scene& s, const Tex& t, const float* flakes, int W, int H, int spp, int i, float* rgb, uint8_t* ids) {
  int x = i % W, y = i / W;
  Rng g{hash(i * 9781u + 77u) | 1u};
  V sum = {0, 0, 0};
  for (int k = 0; k < spp; k++) {
    V o, d; ray(s, x + g.u() - 0.5f, y + g.u() - 0.5f, o, d);
    if (s.lens > 0) {
      float r = s.lens * sqrtf(g.u()), a = 6.2831853f * g.u();
      V f = o + d * (s.focus / dot(d, s.fwd));
      o = o + s.right * (r * cosf(a)) + s.up * (r * sinf(a)); d = norm(f - o);
    }
    V c = trace(s, t, flakes, o, d, g);
    float m = fmaxf(c.x, fmaxf(c.y, c.z));
    if (m > 12) c = c * (12 / m);
    if (c.x == c.x && c.y == c.y && c.z == c.z) sum = sum + c;
  }
  rgb[3 * i] = sum.x / spp; rgb[3 * i + 1] = sum.y / spp; rgb[3 * i + 2] = sum.z / spp;
  for (int k = 0; k < 4; k++) {
    V o, d; ray(s, x - 0.25f + 0.5f * (k & 1), y - 0.25f + 0.5f * (k >> 1), o, d);
    float at; int id = 0;
    if (!march(s, t, o, d, 400, at, id)) id = 0;
    ids[(size_t)(2 * y + (k >> 1)) * (2 * W) + 2 * x + (k & 1)] = (uint8_t)id;
  }
}

#ifdef __CUDACC__
__global__ void kernel(const Scene* s, Tex t, const float* flakes, int W, int H, int spp, float* rgb, uint8_t* ids) {
  int i = blockIdx.x * blockDim.x + threadIdx.x;
  if (i < W * H) pixel(*s, t, flakes, W, H, spp, i, rgb, ids);
}
// Pointers are device memory, the scene too; several threads may render at once, each on its stream.
extern "C" void render(const Scene* s, const float* h, const uint8_t* id, int n, const float* flakes, int W, int H, int spp, float* rgb, uint8_t* ids, void* stream) {
  cudaStream_t own = (cudaStream_t)stream;
  kernel<<<(W * H + 127) / 128, 128, 0, own>>>(s, Tex{h, id, n}, flakes, W, H, spp, rgb, ids);
  cudaStreamSynchronize(own);
}
#else
extern "C" void render(const Scene* s, const float* h, const uint8_t* id, int n, const float* flakes, int W, int H, int spp, float* rgb, uint8_t* ids, void*) {
#pragma omp parallel for schedule(dynamic, 256)
  for (int i = 0; i < W * H; i++) pixel(*s, Tex{h, id, n}, flakes, W, H, spp, i, rgb, ids);
}
#endif
extern "C" int scene_bytes() { return (int)sizeof(Scene); }
