#!/bin/sh
# A hub of three nodes and three sites with virtual lifts, all on this machine.
#   demo.sh PLUMBHOOK DIR
# Everything is in DIR, which is made anew. It goes on until interrupted, or for
# as long as FOR says (as FOR=60s).
set -eu
plumbhook=$1 dir=$2
case $plumbhook in */*) plumbhook=$(cd "$(dirname "$plumbhook")" && pwd)/$(basename "$plumbhook") ;; esac
rm -rf "$dir"
mkdir -p "$dir"
cd "$dir"

# One authority for all nodes: made once and copied, since nodes prove themselves
# to sites and to each other by it.
mkdir a b c
"$plumbhook" certify --data a >/dev/null
cp -r a/tls b/
cp -r a/tls c/

base=${BASE:-27420}
cat >hub.yaml <<HUB
hub: 1
nodes:
  a: {sites: 127.0.0.1:$((base + 1)), nodes: 127.0.0.1:$((base + 4))}
  b: {sites: 127.0.0.1:$((base + 2)), nodes: 127.0.0.1:$((base + 5))}
  c: {sites: 127.0.0.1:$((base + 3)), nodes: 127.0.0.1:$((base + 6))}
keep: {days: 30, gb: 2}
sites:
HUB

pids=
stop() {
	trap - EXIT INT TERM
	# shellcheck disable=SC2086
	[ -z "$pids" ] || kill $pids 2>/dev/null || true
	wait
}
trap stop EXIT INT TERM

for site in kestrel-point north-weir pump-hall; do
	"$plumbhook" admit $site --hub hub.yaml --data a -o $site.yaml >/dev/null
done
port=$((base + 11))
for node in a b c; do
	"$plumbhook" serve --hub hub.yaml --node $node --data $node --listen 127.0.0.1:$port --sign-in never >$node.log 2>&1 &
	pids="$pids $!"
	echo "hub node $node       http://127.0.0.1:$port/fleet    process $!"
	port=$((port + 1))
done
for site in kestrel-point north-weir pump-hall; do
	"$plumbhook" demo --join $site.yaml --listen 127.0.0.1:$port --seed $port >$site.log 2>&1 &
	pids="$pids $!"
	printf '%-16s http://127.0.0.1:%s/live     process %s\n' $site $port $!
	port=$((port + 1))
done
cat <<SAY
Logs are in $dir. Kill a node or a site and see what the page of the others says.
SAY
sleep "${FOR:-infinity}" &
sleeper=$!
pids="$pids $sleeper"
wait $sleeper
