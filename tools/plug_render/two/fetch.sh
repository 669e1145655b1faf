#!/bin/bash
# Copies what is there by now to the folder $2: pics (2 files, about 20 MB), nets (4 files, 54 MB),
# drawn (2 files, 14 MB: rendered-only weights), log (1 file).
from=${EYEOUT:-/tmp/eyeout}; work=${EYE_WORK:-/tmp/eye}; to=${2:-$OUT}
case $1 in
  pics) cp "$from"/pics-*.tar "$to" ;;
  nets) cp "$from"/[AB]-[12].pt "$to" ;;
  drawn) cp "$from"/[AB]-drawn.pt "$to" 2>/dev/null; cp "$work"/[AB]-drawn.pt "$to" 2>/dev/null ;;
esac
cp "$from"/eye-log.txt "$to"; tail -n 40 "$from"/eye-log.txt
