"""Render the demo's pictures and write the truth beside them.

    pip install mitsuba scipy pillow
    python sample_images/generate.py

None is a photograph of a real object. A path tracer (Mitsuba 3, BSD) renders each scene, then the
picture gets a phone's noise, sharpening, JPEG compression and EXIF data. ``truth.json`` is written
from the geometry, not measured on the pictures.
"""

from __future__ import annotations

import io
import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import mitsuba as mi
import numpy as np
from PIL import Image, ImageFilter

mi.set_variant("scalar_rgb")
import scenes  # noqa: E402

HERE = Path(__file__).parent
WIDTH, HEIGHT, SAMPLES = 1600, 1200, int(os.environ.get("SAMPLES", "64"))
PLUG_MM, MAGNET_MM, MARKS_MM = 18.0, 9.4, 20.0
Dict = dict[str, Any]


def bitmap(array: np.ndarray, raw: bool = False) -> Dict:
    """Return a texture; colours are given linear."""
    data = np.ascontiguousarray(array if array.ndim == 3 else array[..., None], dtype=np.float32)
    return {"type": "bitmap", "bitmap": mi.Bitmap(data), "raw": raw or array.ndim == 2}


def mesh(vertices: np.ndarray, faces: np.ndarray, bsdf: Dict, smooth: bool = False) -> Any:
    """Return a triangle mesh."""
    properties = mi.Properties()
    properties["bsdf"] = mi.load_dict(
        bsdf if bsdf["type"] == "twosided" else {"type": "twosided", "bsdf": bsdf}
    )
    properties["face_normals"] = not smooth
    shape = mi.Mesh("mesh", len(vertices), len(faces), has_vertex_normals=smooth, props=properties)
    params = mi.traverse(shape)
    params["vertex_positions"] = np.ravel(vertices).astype(np.float32)
    params["faces"] = np.ravel(faces).astype(np.uint32)
    params.update()
    return shape


def ground(colour: np.ndarray, height: np.ndarray, size: float, bump: float) -> Dict:
    """Return the surface that the subject lies on."""
    diffuse = {"type": "diffuse", "reflectance": bitmap(colour)}
    return {
        "type": "rectangle",
        "to_world": mi.ScalarTransform4f().scale([size, size, 1]),
        "bsdf": {
            "type": "bumpmap",
            "arbitrary": bitmap(height, raw=True),
            "scale": bump,
            "bsdf": diffuse,
        },
    }


def camera(
    eye: list[float], target: list[float], fov: float, up: list[float] | None = None
) -> Dict:
    """Return a phone's camera: a small aperture focused on the target."""
    distance = float(np.linalg.norm(np.array(eye) - np.array(target)))
    return {
        "type": "thinlens",
        "fov": fov,
        "aperture_radius": 0.25,
        "focus_distance": distance,
        "to_world": mi.ScalarTransform4f().look_at(eye, target, up or [0, 1, 0]),
        "film": {
            "type": "hdrfilm",
            "width": WIDTH,
            "height": HEIGHT,
            "rfilter": {"type": "gaussian"},
        },
        "sampler": {"type": "independent", "sample_count": SAMPLES},
    }


def lights(warm: float = 1.0) -> Dict:
    """Return a tube light above and the weak light of the room."""
    panel = mi.ScalarTransform4f().look_at([60, 90, 160], [0, 0, 0], [0, 0, 1]).scale([70, 18, 1])
    glow = [9.0, 8.6 * warm, 8.0 * warm**2]
    return {
        "panel": {
            "type": "rectangle",
            "to_world": panel,
            "emitter": {"type": "area", "radiance": {"type": "rgb", "value": glow}},
        },
        "room": {"type": "constant", "radiance": {"type": "rgb", "value": [0.35, 0.36, 0.38]}},
    }


def steel(alpha: float, tint: float = 1.0) -> Dict:
    """Return brushed steel."""
    return {
        "type": "roughconductor",
        "material": "Cr",
        "alpha": alpha,
        "specular_reflectance": {"type": "rgb", "value": [tint, tint * 0.98, tint * 0.95]},
    }


def plug_scene(seed: int, share: float, flake_lengths: list[float]) -> tuple[Dict, Dict]:
    """Return a magnetic plug and its truth; ``share`` of the magnet's face carries film."""
    rng = np.random.default_rng(seed)
    top = 13.0
    colour, height = scenes.cloth(np.random.default_rng(5), 1400, (0.10, 0.19, 0.34))
    scene: Dict = {"type": "scene", "integrator": {"type": "path", "max_depth": 6}}
    scene |= lights()
    scene["ground"] = ground(colour, height, 60, 1.4)
    vertices, faces = scenes.lathe(scenes.plug_profile(PLUG_MM / 2, MAGNET_MM / 2, top))
    scene["plug"] = mesh(vertices, faces, steel(0.28, 0.72))
    face = top + 0.35
    disc = [
        (0.0, face),
        (MAGNET_MM / 2 - 0.3, face),
        (MAGNET_MM / 2, face - 0.25),
        (MAGNET_MM / 2, top - 0.6),
    ]
    vertices, faces = scenes.lathe(disc)
    scene["magnet"] = mesh(vertices, faces, steel(0.16))
    covered = 0.0
    if share:
        coat = scenes.film(rng, MAGNET_MM / 2 + 1.2, MAGNET_MM / 2, share)
        covered = coat.coverage
        dark = {
            "type": "roughplastic",
            "diffuse_reflectance": {"type": "rgb", "value": [0.018, 0.017, 0.016]},
            "alpha": 0.35,
        }
        scene["film"] = mesh(
            *scenes.relief(coat.mask, coat.height, MAGNET_MM / 2 + 1.2, face),
            {"type": "twosided", "bsdf": dark},
        )
    for i, length in enumerate(flake_lengths):
        angle, r = 2.2 * i + 0.5, MAGNET_MM / 2 * (0.66 + 0.06 * i)
        outline = scenes.flake(rng, length, (r * np.cos(angle), r * np.sin(angle)), face + 0.62)
        fan = np.array([[0, k, k + 1] for k in range(1, len(outline) - 1)], dtype=np.uint32)
        scene[f"flake{i}"] = mesh(outline, fan, {"type": "twosided", "bsdf": steel(0.22)})
    scene["sensor"] = camera([10, -26, 72], [0, 0, top - 2], 27)
    truth = {
        "plug_outer_diameter_mm": PLUG_MM,
        "magnet_diameter_mm": MAGNET_MM,
        "film_coverage_before_flakes": round(covered, 3),
        "flakes_mm": flake_lengths,
    }
    return scene, truth


def stick_scene(seed: int, level: float, fluid: tuple[float, float, float]) -> tuple[Dict, Dict]:
    """Return a dipstick blade with two holes, wet up to ``level`` of the mark distance."""
    rng = np.random.default_rng(seed)
    length, width, per_mm = 70.0, 7.0, 20
    rows, columns = int(length * per_mm), int(width * per_mm)
    tip_to_low = 16.0
    row_of = lambda mm: (length - mm) * per_mm  # noqa: E731 - distance from the tip to texture row
    y, x = np.mgrid[0:rows, 0:columns]
    holes = np.ones((rows, columns))
    for mark in (tip_to_low, tip_to_low + MARKS_MM):
        holes[np.hypot(x - columns / 2, y - row_of(mark)) < 1.1 * per_mm] = 0
    corner = (np.abs(x - columns / 2) - columns / 2 + 1.5 * per_mm) + (y - rows + 1.5 * per_mm)
    holes[corner > 1.5 * per_mm] = 0
    wet = scenes.wet_mask(rng, rows, columns, row_of(tip_to_low + level * MARKS_MM))
    lines = np.repeat(rng.random((1, columns)), rows, axis=0)
    brushed = 0.5 + 0.5 * lines * (
        0.7 + 0.3 * scenes.noise(rng, max(rows, columns), 60)[:rows, :columns]
    )
    wet_steel = {
        "type": "blendbsdf",
        "weight": 0.88,
        "dry": {"type": "twosided", "bsdf": steel(0.3, 0.55)},
        "oil": {
            "type": "twosided",
            "bsdf": {
                "type": "roughplastic",
                "diffuse_reflectance": {"type": "rgb", "value": list(fluid)},
                "alpha": 0.12,
            },
        },
    }
    dry_steel = {
        "type": "bumpmap",
        "arbitrary": bitmap(brushed, raw=True),
        "scale": 0.06,
        "bsdf": {"type": "twosided", "bsdf": steel(0.32, 0.85)},
    }
    blade = {
        "type": "mask",
        "opacity": bitmap(holes[::-1], raw=True),
        "bsdf": {
            "type": "blendbsdf",
            "weight": bitmap(wet[::-1], raw=True),
            "a": dry_steel,
            "b": wet_steel,
        },
    }
    colour, height = scenes.cloth(np.random.default_rng(8), 1400, (0.42, 0.42, 0.40))
    scene: Dict = {"type": "scene", "integrator": {"type": "path", "max_depth": 6}} | lights(0.98)
    scene["ground"] = ground(colour, height, 75, 1.2)
    turn = 35 + 10 * rng.random()
    place = (
        mi.ScalarTransform4f()
        .rotate([0, 0, 1], turn)
        .translate([0, 14, 3])
        .scale([width / 2, length / 2, 1])
    )
    scene["blade"] = {"type": "rectangle", "to_world": place, "bsdf": blade}
    scene["sensor"] = camera([6, -14, 96], [-4, 2, 3], 32)
    return scene, {"mark_distance_mm": MARKS_MM, "level_fraction": level}


def swatch_scene(seed: int, fluid: tuple[float, float, float]) -> tuple[Dict, Dict]:
    """Return fluid on a paper towel; ``fluid`` is its linear reflectance relative to the paper."""
    rng = np.random.default_rng(seed)
    grey, height = scenes.paper(rng, 1400)
    colour = np.repeat(grey[..., None], 3, axis=2)
    for centre, radius in (((680, 720), 250), ((1080, 430), 70)):
        core, ring = scenes.blot(rng, 1400, centre, radius)
        pale = 1 - 0.35 * (1 - np.array(fluid))
        colour *= 1 - ring[..., None] * (1 - pale)
        full = grey[..., None] * np.array(fluid)
        colour = colour * (1 - core[..., None]) + full * core[..., None]
    scene: Dict = {"type": "scene", "integrator": {"type": "path", "max_depth": 4}} | lights(0.95)
    scene["ground"] = ground(colour, height, 60, 0.8)
    scene["sensor"] = camera([4, -10, 110], [0, 0, 0], 38)
    encode = lambda v: 255 * (12.92 * v if v <= 0.0031308 else 1.055 * v ** (1 / 2.4) - 0.055)  # noqa: E731
    return scene, {"fluid_srgb_d65_relative_to_paper": [round(encode(v)) for v in fluid]}


def phone(linear: np.ndarray, seed: int, exposure: float, blur: float) -> Image.Image:
    """Return what a phone makes of the light: exposure, roll-off, sRGB, sharpening, noise."""
    rng = np.random.default_rng(seed)
    light = np.clip(linear, 0, None) * 2.0**exposure
    light = np.where(light > 0.8, 0.8 + 0.2 * (1 - np.exp(-(light - 0.8) / 0.2)), light)
    srgb = np.where(
        light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055
    )
    picture = Image.fromarray((np.clip(srgb, 0, 1) * 255).astype(np.uint8))
    if blur:
        picture = picture.filter(ImageFilter.GaussianBlur(blur))
    picture = picture.filter(ImageFilter.UnsharpMask(1.2, 60, 2))
    grain = rng.normal(0, 2.2, (HEIGHT, WIDTH, 3))
    return Image.fromarray(np.clip(np.asarray(picture) + grain, 0, 255).astype(np.uint8))


def save(picture: Image.Image, name: str, taken: str, orientation: int, place: bool) -> None:
    """Write a JPEG with a phone's EXIF; ``orientation`` 6 means that the phone was held upright."""
    if orientation == 6:
        picture = picture.transpose(Image.Transpose.ROTATE_90)
    exif = Image.Exif()
    exif[0x010F], exif[0x0110], exif[0x0112] = "Example", "Shop phone", orientation
    exif[0x0132] = taken
    exif.get_ifd(0x8769)[0x9003] = taken
    if place:  # an invented place in the sea, to show that location is taken out of the report
        exif.get_ifd(0x8825).update({1: "N", 2: (45.0, 30.0, 0.0), 3: "W", 4: (30.0, 15.0, 0.0)})
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=88, exif=exif)
    (HERE / name).write_bytes(out.getvalue())


RED, OLD = (0.56, 0.05, 0.05), (0.085, 0.022, 0.014)
Make = Callable[[], tuple[Dict, Dict]]
PICTURES: list[tuple[str, Make, float, float, int, bool]] = [
    # file, scene, exposure in EV, blur in px, EXIF orientation, with a place
    ("dipstick-before.jpg", lambda: stick_scene(3, 0.46, (0.10, 0.02, 0.012)), 0.1, 0.0, 1, False),
    ("fluid-old.jpg", lambda: swatch_scene(4, OLD), 0.2, 0.0, 1, False),
    ("plug-before.jpg", lambda: plug_scene(7, 0.62, [1.3, 0.8, 0.55]), 0.2, 0.0, 6, True),
    ("plug-after.jpg", lambda: plug_scene(7, 0.0, []), 0.0, 0.0, 6, True),
    ("dipstick-blurred.jpg", lambda: stick_scene(9, 0.78, (0.34, 0.03, 0.03)), 0.1, 14.0, 1, False),
    ("dipstick-after.jpg", lambda: stick_scene(9, 0.78, (0.34, 0.03, 0.03)), 0.1, 0.0, 1, False),
    ("fluid-new.jpg", lambda: swatch_scene(6, RED), 0.2, 0.0, 1, False),
]


def main() -> None:
    """Render every picture and write truth.json."""
    truth = {}
    for number, (name, make, exposure, blur, orientation, place) in enumerate(PICTURES):
        scene, facts = make()
        linear = np.array(mi.render(mi.load_dict(scene)))[..., :3]
        taken = f"2026:11:24 09:{10 + 6 * number:02d}:00"
        save(phone(linear, number, exposure, blur), name, taken, orientation, place)
        truth[name] = {"usable": not blur, **({"why": "blurred"} if blur else facts)}
        print(name, truth[name])
    (HERE / "truth.json").write_text(json.dumps(truth, indent=1) + "\n")


if __name__ == "__main__":
    main()
