#!/bin/sh
# What a printer does with a job: ippeveprinter runs this with the document's path. Keeps the
# document and the job's attributes, and "prints" sheet by sheet, telling how many sides are done.
# The file "behaviour" in the printer's folder says what goes wrong, and after how many sides:
#   well | empty N | jam N | abort N | hang N | slow SECONDS
set -eu
folder=${PRINTER_FOLDER:?}
number=$(ls "$folder" | grep -c '^job-.*\.env$' || true)
job="$folder/job-$((number + 1))"
cp "$1" "$job.document"
env | grep -E '^(IPP_|CONTENT_TYPE=)' | sort > "$job.env"

case "$CONTENT_TYPE" in
  application/pdf) sides=$(qpdf --show-npages "$1") ;;
  image/pwg-raster) sides=$(python3 "$folder/raster.py" count "$1") ;;
  *) sides=0 ;;
esac
read -r what at < "$folder/behaviour" || true
pause=0.05
[ "$what" = slow ] && pause=$at
echo "ATTR: job-impressions=$sides job-impressions-completed=0" >&2
side=0
while [ $side -lt "$sides" ]; do
  if [ $side -eq "${at%.*}" ]; then
    case "$what" in
      empty)
        echo "STATE: +media-empty-error" >&2
        until [ -e "$folder/mended" ]; do sleep 0.1; [ -d "$folder" ] || exit 1; done
        echo "STATE: -media-empty-error" >&2 ;;
      jam)
        echo "STATE: +media-jam-error" >&2
        until [ -e "$folder/mended" ]; do sleep 0.1; [ -d "$folder" ] || exit 1; done
        echo "STATE: -media-jam-error" >&2 ;;
      abort)
        echo "ERROR: The sheet could not be picked up" >&2
        exit 1 ;;
      hang)
        touch "$folder/hanging"
        while [ -e "$folder/hanging" ]; do sleep 0.2; done ;;
    esac
  fi
  sleep "$pause"
  side=$((side + 1))
  echo "ATTR: job-impressions-completed=$side" >&2
done
