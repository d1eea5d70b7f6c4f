#!/bin/sh
# guest_kernel.sh FOLDER: for guest.sh, Debian's kernel, the modules of its virtual USB host controller, and
# udev, taken out of their packages; nothing is installed. What is there already stays.
set -eu
folder=$1
[ ! -e "$folder/udevadm" ] || exit 0
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cd "$work"

image=$(apt-cache depends linux-image-amd64 | sed -n 's/^ *Depends: \(linux-image-.*\)/\1/p')
if ! apt-get -qq download "$image" udev libkmod2 2>said; then
  as_root=
  [ "$(id -u)" = 0 ] || as_root=sudo
  $as_root apt-get -qq update # the lists are older than the archive
  apt-get -qq download "$image" udev libkmod2
fi
dpkg-deb --fsys-tarfile linux-image-*.deb | tar -x --wildcards './boot/vmlinuz-*' '*/usb-common.ko*' \
  '*/usbcore.ko*' '*/usbip-core.ko*' '*/vhci-hcd.ko*'
dpkg-deb --fsys-tarfile udev_*.deb | tar -x --wildcards '*bin/udevadm'
dpkg-deb --fsys-tarfile libkmod2_*.deb | tar -x --wildcards '*/libkmod.so.2*'
find lib usr -name '*.ko.xz' -exec xz -d {} + 2>/dev/null || true # as later releases have them

mkdir -p "$folder"
cp boot/vmlinuz-* "$folder/vmlinuz"
find . -name '*.ko' -exec cp {} "$folder" \;
find . -name 'libkmod.so.2' -exec cp -L {} "$folder" \;
find . -name udevadm -exec cp {} "$folder" \;
[ -e "$folder/vhci-hcd.ko" ] && [ -e "$folder/libkmod.so.2" ] && [ -e "$folder/udevadm" ]
