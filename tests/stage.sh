# shellcheck shell=bash
# For the test commands beside it: runs a step under a heading and says how long it took; the first one
# that fails ends the run.
stage() {
  local heading=$1 start=$SECONDS
  shift
  printf '\n== %s\n' "$heading"
  "$@"
  printf '== %s: %d s\n' "$heading" $((SECONDS - start))
}
