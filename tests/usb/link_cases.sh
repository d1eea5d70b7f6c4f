#!/bin/sh
# link_cases.sh USB_BENCH USB_PROBE: which adapter is opened, and what is said where none is.
set -eu
bench=$1 probe=$2
bad=0

# expect STATUS TEXT DEVICE... -- WORD...: usb_probe with the words beside the devices says TEXT.
expect() {
  status=$1 text=$2
  shift 2
  devices=
  while [ "$1" != -- ]; do
    devices="$devices $1"
    shift
  done
  shift
  got=0
  # shellcheck disable=SC2086 # a list of words
  said=$(umockdev-wrapper "$bench" $devices -- $as_user "$probe" "$@" 2>&1) || got=$?
  case $said in
    $text) [ "$got" = "$status" ] && return ;;
  esac
  echo "with$devices: status $got, not $status, or not the expected text:"
  echo "$said"
  bad=1
}
as_user=

expect 69 "no adapter is plugged in: no USB device has an adapter's interface" --
expect 0 "usb:ONE" plain:ONE --
expect 0 "usb:ONE" plain:ONE -- ONE
expect 0 "usb:1-2" plain: --
# A serial number is the device's own text: what nobody can type is replaced.
odd=$(printf '\001')
expect 0 "usb:A?B" "plain:A${odd}B" --

# Two adapters: the person must say which.
expect 69 "2 adapters are plugged in: usb:ONE, usb:TWO; choose one with --adapter usb:SERIAL" \
  plain:ONE plain:TWO --
expect 0 "usb:ONE" plain:ONE plain:TWO -- ONE
expect 0 "usb:TWO" plain:ONE plain:TWO -- TWO
expect 69 "no adapter usb:THREE is plugged in; there is usb:ONE, usb:TWO" \
  plain:ONE plain:TWO -- THREE
expect 69 "2 adapters are plugged in: usb:ONE, usb:ONE; *" plain:ONE plain:ONE -- ONE
# One that only looks like an adapter does not count; one that another program holds does.
expect 0 "usb:ONE" plain:ONE plain:TWO,lie=magic --
expect 69 "2 adapters are plugged in: *" plain:ONE plain:TWO,busy --

# A kernel driver is sent away; another program is not.
expect 0 "usb:ONE" plain:ONE,driver --
expect 69 "usb:ONE: another program holds the adapter; end that one first" plain:ONE,busy --

# Devices that lie, stay silent, or leave while they are asked.
expect 69 "usb:ONE: the device looks like an adapter but answers something else to *" \
  plain:ONE,lie=magic --
expect 69 "usb:ONE: the device looks like an adapter but does not answer the capability request" \
  plain:ONE,mute=1 --
expect 69 "usb:ONE: unplugged while it was opened" plain:ONE,unplug-request=1 --
expect 0 "usb:ONE" plain:ONE,full-speed --

# No permission: which rule, which commands. Root is not asked for permission.
if [ "$(id -u)" = 0 ] && command -v setpriv >/dev/null &&
  setpriv --reuid 65534 --clear-groups test -x "$probe" 2>/dev/null; then
  as_user="setpriv --reuid 65534 --clear-groups"
  expect 69 "usb:1-2: no permission for /dev/bus/usb/001/002: copy the rule */70-whichend.rules to \
/etc/udev/rules.d, be a member of group plugdev*'udevadm control --reload' and 'udevadm trigger'*" \
    plain:ONE,forbidden --
  expect 69 "usb:1-2: no permission*" plain:ONE,forbidden -- ONE
else
  echo "skipped: the case without permission needs root, setpriv and a build folder open to all"
fi
exit $bad
