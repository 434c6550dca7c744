"""The shell text that walks from a mounted folder down to the physical drives (sysfs, without privileges).

It continues a script that has set `mnt`, the mount id of the folder. A partition stands on its disk, a mapped
or striped device on its `slaves`, a loop device on the filesystem that holds its file, and a filesystem that
spans devices (it shows them under `/sys/fs/btrfs`) on all of them. What cannot be followed is said to be
unresolved: a virtual device is never taken for a drive.
"""

from __future__ import annotations

from typing import Final

DRIVES: Final = rb"""number() {
  set -- $(stat -L -c '%F|%t %T' -- "$1" 2>/dev/null | sed -n 's/^block special file|//p')
  if [ $# -eq 2 ]; then printf '%d:%d' "0x$1" "0x$2"; fi
}
leaf() {
  say drive "$1"
  for a in wwid device/wwid serial device/serial device/cid; do text "drive-name $a" "$1/$a"; done
  n=$(cat "$1/dev")
  say 'drive-name udev' "$(sed -n 's/^E:ID_SERIAL=//p' "/run/udev/data/b$n" 2>/dev/null)"
  say 'drive-name lsblk' "$(lsblk -dnro SERIAL "/dev/${1##*/}" 2>/dev/null)"
  text drive-rotational "$1/queue/rotational"
}
below() (
  d=$(cd -P "/sys/dev/block/$1" 2>/dev/null && pwd -P)
  if [ -z "$d" ] || [ ${#2} -gt 12 ]; then say drive-unresolved "$1"; return; fi
  if [ -e "$d/partition" ]; then d=${d%/*}; fi
  if [ -e "$d/loop/backing_file" ]; then
    f=$(cat "$d/loop/backing_file"); say drive-file "$f"
    x=$(stat -c %d -- "$f" 2>/dev/null)
    if [ -z "$x" ]; then say drive-unresolved "$1"; return; fi
    holds "$(( (x >> 8 & 4095) | (x >> 32 & ~4095) )):$(( (x & 255) | (x >> 12 & ~255 & 4294967295) ))" \
      "$(df -P -- "$f" 2>/dev/null | sed -n '2s/ .*//p')" "x$2"
    return
  fi
  set -- "$d" "$2" "$d"/slaves/*
  if [ ! -e "$3" ]; then leaf "$1"; return; fi
  up=x$2; shift 2
  for s; do below "$(cat "$s/dev")" "$up"; done
)
holds() {
  if [ -e "/sys/dev/block/$1" ]; then below "$1" "$3"; return; fi
  n=$(number "$2")
  if [ -z "$n" ]; then say drive-unresolved "$1"; return; fi
  k=$(cd -P "/sys/dev/block/$n" 2>/dev/null && pwd -P); k=${k##*/}
  for b in /sys/fs/btrfs/*/devices/"$k"; do
    if [ ! -e "$b" ]; then below "$n" "$3"; return; fi
    b=${b%/devices/*}
    if [ "$3" = x ]; then say uuid_btrfs "${b##*/}"; fi
    if grep -q 1 "$b"/devinfo/*/missing 2>/dev/null; then say drive-unresolved missing; fi
    for s in "$b"/devices/*; do below "$(cat "$s/dev")" "$3"; done
    return
  done
}
dev= source=
while read -r id up numbers top target rest; do
  if [ -n "$mnt" ] && [ "$id" = "$mnt" ]; then
    set -f; set -- ${rest#* - }; set +f
    dev=$numbers source=$2
  fi
done </proc/self/mountinfo
if [ -n "$dev" ]; then
  if [ -e "/sys/dev/block/$dev" ] || [ -b "$source" ]; then holds "$dev" "$source" x; fi
  own=$dev
  if [ ! -e "/sys/dev/block/$dev" ]; then own=$(number "$source"); fi
  if [ -n "$own" ]; then
    node=$source
    if [ "$(number "$node")" != "$own" ]; then
      node=$(cd -P "/sys/dev/block/$own" 2>/dev/null && pwd -P); node=/dev/${node##*/}
    fi
    if [ "$(number "$node")" = "$own" ]; then
      if [ -r "$node" ]; then say uuid_probe "$(blkid -p -s UUID -o value -- "$node" 2>/dev/null)"; fi
      say uuid_lsblk "$(lsblk -ndo UUID -- "$node" 2>/dev/null)"
    fi
    say uuid_udev "$(sed -n 's/^E:ID_FS_UUID=//p' "/run/udev/data/b$own" 2>/dev/null)"
    for l in /dev/disk/by-uuid/*; do
      if [ "$(number "$l")" = "$own" ]; then say uuid_link "${l##*/}"; fi
    done
  fi
fi
"""
