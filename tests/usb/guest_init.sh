#!/bin/busybox sh
# The first program of the guest of guest.sh: loads the virtual host controller, runs each case that
# /cases names, tells the outcome on the console, and turns the guest off.
/bin/busybox --install -s /bin
export PATH=/bin:/usr/local/bin SLOW=4
mount -t proc proc /proc
mount -t sysfs sys /sys
mount -t devtmpfs dev /dev
mount -t tmpfs run /run
for module in usb-common usbcore usbip-core vhci-hcd; do
  [ ! -e "/modules/$module.ko" ] || insmod "/modules/$module.ko"
done
systemd-udevd --daemon # applies the rule that is installed
echo "guest: kernel $(uname -r), up for $(cut -d ' ' -f 1 /proc/uptime) s"
while read -r name; do
  if sh /record_cases.sh usb_bench_vhci /usr/local/bin/whichend flux_check "$name"; then
    echo "guest: $name passed"
  else
    echo "guest: $name failed"
  fi
done </cases
echo "guest: over after $(cut -d ' ' -f 1 /proc/uptime) s"
poweroff -f
