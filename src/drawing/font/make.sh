#!/usr/bin/env bash
# Makes DejaVuSans-Bold-part.ttf: DejaVu Sans Bold 2.37 with the Latin, Greek and Cyrillic letters,
# figures and signs that words over a picture need. Wants fonttools 4 (pip) and Debian's
# fonts-dejavu-core; LICENSE beside it is the font's own.
set -euo pipefail
cd "$(dirname "$0")"
pyftsubset "${1:-/usr/share/fonts/truetype/dejavu/DejaVuSans-Bold.ttf}" \
    --unicodes=U+0020-007E,U+00A0-017F,U+0218-021B,U+0386-03CE,U+0400-045F,U+2010-2015,U+2018-201E,U+2026,U+2190-2193,U+FFFD \
    --layout-features= --no-hinting --desubroutinize --drop-tables+=GSUB,GPOS,GDEF,FFTM \
    --output-file=DejaVuSans-Bold-part.ttf
