#!/bin/sh
# A network with nothing but this machine's loopback in it, and on it the two services that
# ippeveprinter needs to make itself known. Run in namespaces of its own:
#   unshare --net --mount sh isle.sh FOLDER
# Says "ready" when all is up; ends when its stdin does.
set -eu
folder=$1
cd "$folder"

ip link set lo up
ip link set lo multicast on
ip route add 224.0.0.0/4 dev lo
mount -t tmpfs tmpfs /run
# Who may print where a printer wants a password: the one whose password is in the file.
cat > password.sh <<'PASSWORD'
#!/bin/sh
read -r given || true
[ "$PAM_USER" = "$(id -un)" ] && [ "$given" = "pricked twice" ]
PASSWORD
chmod +x password.sh
cat > pam <<PAM
auth required pam_exec.so expose_authtok $folder/password.sh
account required pam_permit.so
PAM
mount --bind pam /etc/pam.d/other

cat > bus.conf <<'BUS'
<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig>
  <type>system</type>
  <listen>unix:path=/run/bus</listen>
  <auth>EXTERNAL</auth>
  <policy context="default">
    <allow user="*"/>
    <allow own="*"/>
    <allow send_destination="*"/>
    <allow receive_sender="*"/>
    <allow send_type="method_call"/>
  </policy>
</busconfig>
BUS
cat > avahi.conf <<'AVAHI'
[server]
use-ipv6=no
allow-interfaces=lo
[wide-area]
enable-wide-area=no
AVAHI
dbus-daemon --config-file="$folder/bus.conf" --nofork --nopidfile &
bus=$!
export DBUS_SYSTEM_BUS_ADDRESS=unix:path=/run/bus
until [ -S /run/bus ]; do sleep 0.05; done
avahi-daemon --file="$folder/avahi.conf" --no-drop-root --no-chroot --no-rlimits > avahi.log 2>&1 &
avahi=$!
trap 'kill $bus $avahi' EXIT

tries=0
until grep -q 'Server startup complete' avahi.log; do
  tries=$((tries + 1))
  [ $tries -lt 200 ] || { cat avahi.log >&2; exit 1; }
  sleep 0.05
done
echo ready
cat > /dev/null
