#!/bin/bash
# Two independent debris networks on one card: see eye.py. From anywhere:
#   CUDA_VISIBLE_DEVICES=k EYEOUT=/some/folder EYE_TOTAL=1350 bash .gpu/eye/go.sh
cd "$(dirname "$0")" || exit 1
export EYEOUT=${EYEOUT:-/tmp/eyeout} EYE_TOTAL=${EYE_TOTAL:-1350}
export EYE_START=${EYE_START:-$(date +%s)}
export EYE_ROWS=${EYE_ROWS:-/dev/shm/eye} EYE_WORK=${EYE_WORK:-/tmp/eye}
export PYTHONUNBUFFERED=1 PYTHONDONTWRITEBYTECODE=1 OMP_NUM_THREADS=1 TORCHINDUCTOR_COMPILE_THREADS=4
PY=${EYE_PYTHON:-python3}
mkdir -p "$EYEOUT" "$EYE_WORK"; rm -rf "$EYE_ROWS"; mkdir -p "$EYE_ROWS"
free=$(df -Pk "$EYE_ROWS" | awk 'NR==2{print int($4/1048576)}')
if [ -z "$EYE_TRIAL" ] && [ "$free" -lt 24 ]; then export EYE_ROWS=/tmp/eye-rows; rm -rf $EYE_ROWS; mkdir -p $EYE_ROWS; fi
if [ -z "$EYE_LIB" ]; then
  export EYE_LIB=$EYE_WORK/librender_cuda.so
  nvcc -O3 --use_fast_math -arch=sm_90 -shared -Xcompiler -fPIC render.cu -o "$EYE_LIB" \
    2>"$EYE_WORK/nvcc.log" || cp librender_cuda.so "$EYE_LIB"
fi
cd "$EYE_WORK" || exit 1
here=$OLDPWD
$PY "$here/eye.py" render >render.log 2>&1 & r=$!
$PY "$here/eye.py" pictures >pictures.log 2>&1 & p=$!
$PY "$here/eye.py" learn A 211 >A.log 2>&1 & a=$!
$PY "$here/eye.py" learn B 317 >B.log 2>&1 & b=$!
trap 'kill $r $p $a $b 2>/dev/null' TERM INT
log() {  # every 15 s
  { date; df -h "$EYE_ROWS" | tail -1; nvidia-smi --query-gpu=index,name,utilization.gpu,memory.used --format=csv,noheader 2>/dev/null
    for f in nvcc render pictures A B; do echo "== $f"; tail -n ${1:-25} $f.log 2>/dev/null; done; } >"$EYEOUT/.log" 2>&1
  mv "$EYEOUT/.log" "$EYEOUT/eye-log.txt"
}
while kill -0 $a 2>/dev/null || kill -0 $b 2>/dev/null; do log; sleep 15; done
kill $r $p 2>/dev/null
log 400
echo "eye: over after $(( $(date +%s) - EYE_START )) s" | tee -a "$EYEOUT/eye-log.txt"
rm -rf "$EYE_ROWS"
