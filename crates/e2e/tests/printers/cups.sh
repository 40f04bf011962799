#!/bin/sh
# A print service of its own, on the usual port of this network: cups.sh FOLDER, which must not
# exist. Runs until it is ended.
set -eu
mkdir "$1"
cd "$1"
folder=$(pwd)
mkdir etc spool cache run log
cat > cupsd.conf <<'CUPSD'
LogLevel debug
Listen localhost:631
WebInterface No
Browsing No
DefaultAuthType None
<Location />
  Order allow,deny
  Allow all
</Location>
<Location /admin>
  Order allow,deny
  Allow all
</Location>
<Policy default>
  <Limit All>
    Order deny,allow
    Allow all
  </Limit>
</Policy>
CUPSD
cat > cups-files.conf <<FILES
User lp
Group lp
SystemGroup root
ServerRoot $folder/etc
StateDir $folder/run
CacheDir $folder/cache
RequestRoot $folder/spool
TempDir $folder/spool
ErrorLog $folder/log/error
AccessLog $folder/log/access
PageLog $folder/log/page
FILES
exec cupsd -f -c "$folder/cupsd.conf" -s "$folder/cups-files.conf"
