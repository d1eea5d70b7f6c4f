#!/bin/sh
# guest_kernel.sh FOLDER: Debian's kernel for guest.sh and the modules of its virtual USB host
# controller, taken out of their package; nothing is installed. What is there already stays.
set -eu
folder=$1
[ ! -e "$folder/vhci-hcd.ko" ] || exit 0
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cd "$work"

package=$(apt-cache depends linux-image-amd64 | sed -n 's/^ *Depends: \(linux-image-.*\)/\1/p')
if ! apt-get -qq download "$package" 2>said; then
  as_root=
  [ "$(id -u)" = 0 ] || as_root=sudo
  $as_root apt-get -qq update # the lists are older than the archive
  apt-get -qq download "$package"
fi
dpkg-deb --fsys-tarfile linux-image-*.deb | tar -x --wildcards './boot/vmlinuz-*' '*/usb-common.ko*' \
  '*/usbcore.ko*' '*/usbip-core.ko*' '*/vhci-hcd.ko*'
find lib usr -name '*.ko.xz' -exec xz -d {} + 2>/dev/null || true # as later releases have them

mkdir -p "$folder"
cp boot/vmlinuz-* "$folder/vmlinuz"
find . -name '*.ko' -exec cp {} "$folder" \;
[ -e "$folder/vhci-hcd.ko" ]
