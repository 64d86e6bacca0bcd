package mqtt

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"plumbhook/reading"
)

// node is what an edge node said of itself when it was born.
type node struct {
	born    bool
	at      reading.Stamp // by its own clock
	bdSeq   uint64        // of its session
	hasBD   bool
	aliases map[uint64]*metric
	devices map[string]map[string]*metric // by device ("" is the node itself) and name

	next    uint8 // the count of the next message
	missing map[uint8]struct{}
	since   reading.Stamp // something is missing
	asked   reading.Stamp // to be born again, last time
	note    string        // for the next frame
}

type metric struct {
	device, name string
	datatype     uint32
	channel      string // empty until one was read
	last         float64
}

const (
	// A message that comes out of order is awaited that long.
	reorder = 2 // s
	// A node is not asked to be born again more often than that.
	askEvery = 10 // s
	// Aliases and names of a node are bounded.
	mostMetrics = 20_000
)

// sparkplug reads a message of Sparkplug B (specification 3.0.0).
func (f *frame) sparkplug(raw []byte) []Command {
	levels := strings.Split(f.topic, "/")
	kind := ""
	if len(levels) > 3 {
		kind = levels[2]
	}
	device := ""
	switch kind {
	case "NBIRTH", "NDATA", "NDEATH":
		if len(levels) != 4 {
			kind = ""
		}
	case "DBIRTH", "DDATA", "DDEATH":
		if len(levels) == 5 {
			device = levels[4]
		} else {
			kind = ""
		}
	default:
		kind = ""
	}
	if kind == "" {
		f.garbled("no topic that readings come on")
		return nil
	}
	p, err := parsePayload(raw)
	if err != nil {
		f.garbled("%v", err)
		return nil
	}
	group, name := levels[1], levels[3]
	n := f.d.nodes[group+"/"+name]
	if n == nil {
		if len(f.d.nodes) >= mostNodes {
			f.garbled("more than %d nodes", mostNodes)
			return nil
		}
		n = &node{}
		n.forget()
		f.d.nodes[group+"/"+name] = n
	}
	if n.note != "" {
		f.garbled("%s", n.note)
		n.note = ""
	}
	again := false // is it to be born again?
	switch kind {
	case "NBIRTH":
		f.birth(n, "", p)
	case "NDEATH":
		f.death(n, p)
	case "DDEATH":
		again = !n.count(p, f.Arrived)
		f.stale(n, device)
	case "DBIRTH":
		again = !n.count(p, f.Arrived)
		f.birth(n, device, p)
	default:
		again = !n.count(p, f.Arrived)
		again = !f.data(n, device, p) || again
	}
	if n.overdue(f.Arrived) {
		f.garbled("%s", n.lost())
		again = true
	}
	if !again {
		return nil
	}
	return n.rebirth(group, name, f.Arrived)
}

// Tick asks nodes to be born again whose missing messages have not come, when
// nothing else arrives from them.
func (d *Decoder) Tick(now reading.Stamp) (commands []Command) {
	for _, key := range slices.Sorted(maps.Keys(d.nodes)) {
		if n := d.nodes[key]; n.overdue(now) {
			n.note = n.lost()
			group, name, _ := strings.Cut(key, "/")
			commands = append(commands, n.rebirth(group, name, now)...)
		}
	}
	return commands
}

func (n *node) forget() {
	n.aliases = map[uint64]*metric{}
	n.devices = map[string]map[string]*metric{}
	n.missing = map[uint8]struct{}{}
}

// count keeps the books of the node's messages, numbered 0 to 255 and over
// again, and tells whether the node has been born.
func (n *node) count(p *payload, at reading.Stamp) bool {
	if !n.born {
		return false
	}
	if !p.hasSeq {
		return true
	}
	seq := uint8(p.seq)
	switch ahead := seq - n.next; {
	case ahead < 128:
		for s := n.next; s != seq; s++ {
			if len(n.missing) == 0 {
				n.since = at
			}
			n.missing[s] = struct{}{}
		}
		delete(n.missing, seq)
		n.next = seq + 1
	default: // an earlier one, late or twice
		delete(n.missing, seq)
	}
	return true
}

func (n *node) overdue(now reading.Stamp) bool {
	return len(n.missing) > 0 && now.Since(n.since) > reorder
}

func (n *node) lost() string {
	k := len(n.missing)
	clear(n.missing)
	return fmt.Sprintf("messages missing from the node's count: %d", k)
}

func (n *node) rebirth(group, name string, at reading.Stamp) []Command {
	if n.asked != 0 && at.Since(n.asked) < askEvery {
		return nil
	}
	n.asked = at
	return []Command{{Topic: "spBv1.0/" + group + "/NCMD/" + name, Payload: rebirthRequest(at)}}
}

// birth takes down names, types and aliases, and reads the values.
func (f *frame) birth(n *node, device string, p *payload) {
	if device == "" {
		n.forget()
		n.born, n.at, n.hasBD = true, stampOfMillis(p.time), false
		n.next = uint8(p.seq) + 1
		for _, m := range p.metrics {
			if m.name == "bdSeq" && m.has == isInt {
				n.bdSeq, n.hasBD = m.whole, true
			}
		}
	} else {
		n.unalias(device)
	}
	known := map[string]*metric{}
	n.devices[device] = known
	for _, m := range p.metrics {
		switch {
		case m.name == "":
			f.garbled("a metric born without a name")
			continue
		case len(n.aliases) >= mostMetrics || len(known) >= mostMetrics:
			f.garbled("more than %d metrics", mostMetrics)
			return
		}
		k := known[m.name]
		if k == nil {
			k = &metric{device: device, name: m.name, datatype: m.datatype, last: math.NaN()}
			known[m.name] = k
		}
		if m.hasAlias {
			if other := n.aliases[m.alias]; other != nil && other != k {
				f.garbled("the alias %d stands for %s and for %s", m.alias, other.name, m.name)
				n.aliases[m.alias] = &metric{} // for neither
				continue
			}
			n.aliases[m.alias] = k
		}
		f.metric(n, k, m, p)
	}
}

// data reads values, and tells whether all of them could be told apart.
func (f *frame) data(n *node, device string, p *payload) (known bool) {
	known = true
	// A message from before the birth may mean other metrics by its aliases.
	old := n.born && p.time != 0 && stampOfMillis(p.time) < n.at
	for _, m := range p.metrics {
		k := n.devices[device][m.name]
		switch {
		case m.name != "" && k == nil:
			// Not born, but it says its name; without a type only numbers that
			// need none can be read.
			k = &metric{device: device, name: m.name, datatype: m.datatype, last: math.NaN()}
			known = known && m.datatype != 0
		case m.name == "" && m.hasAlias && !old:
			if k = n.aliases[m.alias]; k == nil || k.name == "" || k.device != device {
				f.garbled("the alias %d is of no metric that was born", m.alias)
				known = false
				continue
			}
		case m.name == "":
			f.garbled("a metric without a name, or with an alias from before the birth")
			continue
		}
		f.metric(n, k, m, p)
	}
	return known
}

// death makes a node stale with all its devices. The will of an earlier session
// may come late, and is none of this one.
func (f *frame) death(n *node, p *payload) {
	for _, m := range p.metrics {
		if m.name == "bdSeq" && m.has == isInt && n.hasBD && m.whole != n.bdSeq {
			f.garbled("the death of session %d, the node is in session %d", m.whole, n.bdSeq)
			return
		}
	}
	for _, device := range slices.Sorted(maps.Keys(n.devices)) {
		f.stale(n, device)
	}
	n.born = false
	clear(n.missing)
}

// unalias forgets the aliases of a device.
func (n *node) unalias(device string) {
	maps.DeleteFunc(n.aliases, func(_ uint64, m *metric) bool { return m.device == device })
}

// stale gives the last value of each channel of a device once more. What its
// aliases will mean when it comes back, its birth tells.
func (f *frame) stale(n *node, device string) {
	n.unalias(device)
	for _, name := range slices.Sorted(maps.Keys(n.devices[device])) {
		if m := n.devices[device][name]; m.channel != "" {
			f.Readings = append(f.Readings, reading.Reading{
				Channel: m.channel, At: f.Arrived, Value: m.last, Quality: reading.Stale,
			})
		}
	}
}

// metric reads one value of a metric that is known.
func (f *frame) metric(n *node, k *metric, m *rawMetric, p *payload) {
	address := lastLevel(f.topic, 3)
	if k.device != "" {
		address += "/" + k.device
	}
	address += "/" + k.name
	c, ok := f.channel(address, "")
	if !ok {
		return
	}
	k.channel = c.name // a death makes it stale even if this value is refused
	datatype := k.datatype
	if m.datatype != 0 {
		if datatype != 0 && datatype != m.datatype {
			f.garbled("%s: born as type %d, sent as type %d", address, datatype, m.datatype)
			return
		}
		datatype = m.datatype
	}
	if len(f.Readings) >= mostSamples {
		f.garbled("more than %d samples in a message", mostSamples)
		return
	}
	r := reading.Reading{At: f.Arrived, Quality: m.quality()}
	for _, ms := range []uint64{m.time, p.time} {
		if ms != 0 {
			r.At = stampOfMillis(ms)
			r.Marks |= reading.Timed
			break
		}
	}
	if m.historical {
		r.Marks |= reading.Historical
	}
	values, err := []float64{math.NaN()}, error(nil)
	if m.null {
		r.Quality = max(r.Quality, reading.Lost)
	} else if values, err = m.numbers(datatype); err != nil {
		f.garbled("%s: %v", address, err)
		return
	}
	step, ok := m.properties["dt"]
	switch {
	case len(values) != 1 && (!ok || !finite(step) || step <= 0 || r.Marks&reading.Timed == 0):
		f.garbled("%s: an array of samples needs a time and the property dt, the seconds between them", address)
		return
	case len(f.Readings)+len(values) > mostSamples:
		f.garbled("more than %d samples in a message", mostSamples)
		return
	}
	start := r.At
	for i, v := range values {
		if len(values) > 1 {
			r.At = start.Plus(float64(i) * step)
		}
		if !f.add(c, v, r) {
			return
		}
		if m.historical {
			continue
		}
		k.last = f.Readings[len(f.Readings)-1].Value
	}
}

func lastLevel(topic string, i int) string { return strings.Split(topic, "/")[i] }

func stampOfMillis(ms uint64) reading.Stamp { return reading.Stamp(ms) * 1e6 }
