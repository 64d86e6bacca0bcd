package intake

import (
	"context"
	"slices"
	"sync"

	"plumbhook/reading"
)

// Tally counts what goes through it on the way to a Sink. It is a Link too, so
// that all that is known of a gateway is in one place.
type Tally struct {
	next Sink
	m    *Map

	mu       sync.Mutex
	gateways map[string]*gatewayTally
	channels map[string]*channelTally
}

type gatewayTally struct {
	count GatewayCount
	skew  reading.Skew
}

type channelTally struct {
	count ChannelCount
	order reading.Order
}

// GatewayCount is how a gateway does.
type GatewayCount struct {
	Gateway   string
	Up        bool
	Connects  uint64 // so often the link came up
	Why       string // it last went down; empty when nothing went wrong
	Frames    uint64
	Readings  uint64
	Garbled   uint64   // lines that could not be read
	Last      []string // the newest of them
	Refused   uint64   // answers that were no values
	RefusedBy string   // what the newest of them said
	Unsaved   uint64   // frames that the sink did not take
	Arrived   reading.Stamp
	// Behind is by how many seconds readings arrive after they were measured,
	// at the least: the offset of the gateway's clock plus the shortest way.
	// Below zero its clock is ahead. Nothing is corrected by it. NaN: not known.
	Behind float64
}

// ChannelCount is what came of a channel.
type ChannelCount struct {
	Channel    string
	Readings   uint64 // all that came
	Duplicates uint64
	Late       uint64
	Missing    uint64 // numbers of the sender's count that have not come
	Restarts   uint64
	// AtLeastOnce says that readings came without time or number: what is sent
	// twice counts twice, and what is lost does not show.
	AtLeastOnce bool
}

// lastLines is how much of what was garbled a tally keeps.
const lastLines = 10

// NewTally counts on the way to next. Gateways of the map are listed from the
// start, so that one that never sends shows too.
func NewTally(m *Map, next Sink) *Tally {
	t := &Tally{next: next, m: m, gateways: map[string]*gatewayTally{}, channels: map[string]*channelTally{}}
	for _, g := range m.Gateways() {
		t.gateway(g.Name)
	}
	for _, c := range m.Channels() {
		t.channels[c.Name] = &channelTally{count: ChannelCount{Channel: c.Name}}
	}
	return t
}

// gateway is the tally of a gateway. Senders that the map does not know share
// one, so that names made up on the wire cannot fill the memory.
func (t *Tally) gateway(name string) *gatewayTally {
	if t.m.Gateway(name) == nil {
		name = Unknown
	}
	g := t.gateways[name]
	if g == nil {
		g = &gatewayTally{count: GatewayCount{Gateway: name}}
		t.gateways[name] = g
	}
	return g
}

// Unknown is the name under which senders are counted that the map does not
// have.
const Unknown = "(not in the channel map)"

// Put hands the frame on and counts it. Readings are counted when they were
// taken: one that the sink refuses may come again.
func (t *Tally) Put(ctx context.Context, f *reading.Frame) error {
	if err := t.next.Put(ctx, f); err != nil {
		t.mu.Lock()
		defer t.mu.Unlock()
		g := t.gateway(f.Source)
		g.count.Arrived = max(g.count.Arrived, f.Arrived)
		g.count.Unsaved++
		return err
	}
	t.Note(f)
	return nil
}

// Note counts a frame that went another way than through Put.
func (t *Tally) Note(f *reading.Frame) {
	t.mu.Lock()
	defer t.mu.Unlock()
	g := t.gateway(f.Source)
	g.count.Arrived = max(g.count.Arrived, f.Arrived)
	g.count.Frames++
	g.count.Readings += uint64(len(f.Readings))
	g.count.Garbled += uint64(len(f.Garbled))
	g.count.Last = append(g.count.Last, f.Garbled...)
	if n := len(g.count.Last); n > lastLines {
		g.count.Last = slices.Clone(g.count.Last[n-lastLines:])
	}
	for i := range f.Readings {
		r := &f.Readings[i]
		g.skew.Note(f.Arrived, r)
		if c := t.channels[r.Channel]; c != nil {
			c.note(r)
		}
	}
}

func (c *channelTally) note(r *reading.Reading) {
	c.count.Readings++
	v := c.order.Next(r)
	switch v.Turn {
	case reading.Duplicate:
		c.count.Duplicates++
	case reading.Late:
		c.count.Late++
	}
	if c.count.Missing += v.Missed; v.Found {
		c.count.Missing--
	}
	if v.Restarted {
		c.count.Restarts++
	}
	if r.Marks&(reading.Timed|reading.Numbered) == 0 {
		c.count.AtLeastOnce = true
	}
}

// Up notes that a gateway is connected.
func (t *Tally) Up(gateway string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	g := t.gateway(gateway)
	g.count.Up = true
	g.count.Connects++
}

// Down notes that a gateway is not connected, and why.
func (t *Tally) Down(gateway string, why error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	g := t.gateway(gateway)
	if g.count.Up = false; why != nil {
		g.count.Why = Printable(why.Error())
	}
}

// Refused notes an answer that was no value.
func (t *Tally) Refused(gateway, what string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	g := t.gateway(gateway)
	g.count.Refused++
	g.count.RefusedBy = Printable(what)
}

// Gateways are the counts of all gateways: those of the map in its order, then
// what came from others.
func (t *Tally) Gateways() (out []GatewayCount) {
	t.mu.Lock()
	defer t.mu.Unlock()
	add := func(name string) {
		if g := t.gateways[name]; g != nil {
			c := g.count
			c.Last, c.Behind = slices.Clone(c.Last), g.skew.Behind()
			out = append(out, c)
		}
	}
	for _, g := range t.m.Gateways() {
		add(g.Name)
	}
	add(Unknown)
	return out
}

// Channels are the counts of all channels, in the order of the map.
func (t *Tally) Channels() (out []ChannelCount) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for _, c := range t.m.Channels() {
		out = append(out, t.channels[c.Name].count)
	}
	return out
}
