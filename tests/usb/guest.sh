#!/bin/sh
# guest.sh BUILD_FOLDER KERNEL_FOLDER CASE...: cases of record_cases.sh inside a real kernel.
#
# A guest, emulated in software, with Debian's kernel (guest_kernel.sh), the program as it is installed, and
# nothing else: its USB core enumerates the model that usb_bench_vhci plugs into the kernel's virtual host
# controller, and unmodified libusb goes through the kernel's usbfs. The emulated processor is slow, so the
# model's time goes by SLOW times as slowly (guest_init.sh).
#
# Each case must say on the console that it passed. Status 77, skipped, where there is no emulator or no kernel.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
build=$1 kernel=$2
shift 2

skip() {
  echo "skipped: $*"
  exit 77
}
[ "$(uname -m)" = x86_64 ] || skip "the guest is one for x86_64"
for program in qemu-system-x86_64 busybox cpio; do
  command -v $program >/dev/null || skip "no $program (Debian packages qemu-system-x86, busybox-static, cpio)"
done
[ -e "$kernel/udevadm" ] || skip "no kernel in $kernel: sh tests/usb/guest_kernel.sh $kernel fetches it"

work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
root=$work/root
mkdir -p "$root/bin" "$root/proc" "$root/sys" "$root/dev" "$root/run" "$root/etc" "$root/tmp" \
  "$root/modules"
chmod 1777 "$root/tmp"
DESTDIR=$root cmake --install "$build" --strip >/dev/null
cp "$(command -v busybox)" "$kernel/udevadm" "$build/tests/usb/usb_bench_vhci" "$build/tests/usb/flux_check" "$root/bin"
cp "$kernel"/*.ko "$root/modules"
cp "$here/guest_init.sh" "$root/init"
cp "$here/record_cases.sh" "$root"
ln -s udevadm "$root/bin/systemd-udevd"
printf 'root:x:0:0::/:/bin/sh\nstranger:x:1000:1000::/:/bin/sh\nmember:x:1001:1001::/:/bin/sh\n' >"$root/etc/passwd"
printf 'root:x:0:\nplugdev:x:46:member\nstranger:x:1000:\nmember:x:1001:\n' >"$root/etc/group"
printf '%s\n' "$@" >"$root/cases"
chmod +x "$root/init"
# Every shared library where the loader looks for it.
LD_LIBRARY_PATH=$kernel ldd "$root/bin/udevadm" "$root/usr/local/bin/whichend" "$root/bin/usb_bench_vhci" "$root/bin/flux_check" |
  sed -n 's/^[^/]*\(\/[^ ]*\) (.*/\1/p' | sort -u |
  while read -r library; do
    case $library in
      "$kernel"/*) to=$root/lib/x86_64-linux-gnu ;;
      *) to=$root$(dirname "$library") ;;
    esac
    mkdir -p "$to"
    cp -L "$library" "$to"
  done
(cd "$root" && find . | cpio -o -H newc --quiet | gzip -1) >"$work/initrd"

# Not kvm: where it is there but does not work, the guest would stand still. A panic ends it.
status=0
timeout 400 qemu-system-x86_64 -accel tcg,thread=multi -M q35 -cpu max -smp 1 -m 512 -nodefaults \
  -no-user-config -display none -no-reboot -serial stdio -kernel "$kernel/vmlinuz" -initrd "$work/initrd" \
  -append "console=ttyS0 panic=-1 quiet" </dev/null >"$work/console" 2>&1 || status=$?
tr -d '\r' <"$work/console"
bad=0
[ $status = 0 ] || { echo "the emulator ended with status $status; 124: the guest took too long"; bad=1; }
for name; do
  tr -d '\r' <"$work/console" | grep -qx "guest: $name passed" || { echo "not passed in the guest: $name"; bad=1; }
done
exit $bad
