package intake

import (
	"io/fs"
	"net"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"plumbhook/fault"
	"plumbhook/internal/intake/line"
	"plumbhook/keyed"
	"plumbhook/quantity"
)

// Bounds of a map.
const (
	mostGateways = 100
	mostChannels = 1000
)

// Read reads a channel map. name is used in messages only. files is the folder
// of the map, where it finds calibrations; nil where there is none. The error
// is a fault.List of every mistake, in the order of the file; the map is nil
// then.
func Read(name string, files fs.FS, data []byte) (*Map, error) {
	r := &mapReader{Reader: keyed.Reader{File: name}, files: files, m: &Map{
		File: name, wires: map[wireKey]target{}, unknown: map[wireKey]uint64{}, named: map[string]int{}, more: map[string]uint64{},
	}}
	root := r.Parse(data)
	if root == nil {
		return nil, r.Err()
	}
	if !r.Keys(root, "a channel map", "channel_map", "gateways", "channels") {
		return nil, r.Err()
	}
	r.Choice(root, "channel_map", "write channel_map: 1, the version of the file", "1")
	if g := r.section(root, "gateways", mostGateways); g != nil {
		for _, it := range g.Items {
			r.gateway(it)
		}
	}
	if c := r.section(root, "channels", mostChannels); c != nil {
		for _, it := range c.Items {
			r.channel(it)
		}
	}
	r.distinct()
	if err := r.Err(); err != nil {
		return nil, err
	}
	return r.m, nil
}

type mapReader struct {
	keyed.Reader
	files  fs.FS
	m      *Map
	owner  map[wireKey]string // who has an address, for messages
	broken []string           // gateways that were not understood
}

// section is a map of named things that has to be there.
func (r *mapReader) section(root *keyed.Node, key string, most int) *keyed.Node {
	n := root.Get(key)
	switch {
	case n == nil:
		r.Fault(root, fault.Missing, "the key %s is missing", key).Fix("list the %s by name", key)
	case n.Kind != keyed.Table || len(n.Items) == 0:
		r.Fault(n, fault.Type, "%s is a map of %s by name", key, key)
	case len(n.Items) > most:
		r.Fault(n, fault.TooLarge, "%d %s, the most is %d", len(n.Items), key, most)
	default:
		return n
	}
	return nil
}

var gatewayKeys = map[string][]string{
	MQTT:      {"password"},
	HTTP:      {"password"},
	ModbusTCP: {"address", "unit_id", "registers", "word_order", "poll", "timeout"},
	ModbusRTU: {"port", "baud", "characters", "unit_id", "registers", "word_order", "poll", "timeout"},
	Serial:    {"port", "baud", "characters", "lines", "pattern", "regexp", "steady", "unsteady", "overload", "units"},
}

var kinds = []string{MQTT, ModbusTCP, ModbusRTU, Serial, HTTP}

func (r *mapReader) gateway(n *keyed.Node) {
	before := len(r.Faults)
	defer func() {
		if len(r.Faults) > before {
			r.broken = append(r.broken, n.Name)
		}
	}()
	g := &Gateway{Name: n.Name, Pos: n.Pos}
	if !keyed.PlainName(n.Name) {
		r.Fault(n, fault.Syntax, "%s is no name for a gateway", keyed.Quote(n.Name)).
			Fix("it is made of letters, figures, dots, hyphens and underscores, 64 at the most")
	}
	if n.Kind != keyed.Table {
		r.Keys(n, "a gateway")
		return
	}
	g.Kind = r.Choice(n, "kind", "write kind: with one of "+strings.Join(kinds, ", "), kinds...)
	if g.Kind == "" {
		return
	}
	r.Keys(n, "a gateway of kind "+g.Kind, append([]string{"kind", "ignore"}, gatewayKeys[g.Kind]...)...)
	g.Ignore = r.Texts(n, "ignore")
	switch g.Kind {
	case MQTT, HTTP:
		g.Password = r.secret(n)
	case ModbusTCP:
		if a := r.Text(n, "address", "write host:port, as in 10.0.0.7:502"); a != nil {
			if host, port, err := net.SplitHostPort(a.Text); err != nil || host == "" || port == "" {
				r.Fault(a, fault.Syntax, "%s is not host:port", keyed.Quote(a.Text)).Fix("write it as 10.0.0.7:502")
			}
			g.Address = a.Text
		}
		r.modbus(n, g)
	case ModbusRTU:
		r.port(n, g)
		r.modbus(n, g)
	case Serial:
		r.port(n, g)
		r.lines(n, g)
	}
	r.m.gateways = append(r.m.gateways, g)
	for _, a := range g.Ignore {
		r.m.wires[wireKey{g.Name, a}] = target{}
	}
}

func (r *mapReader) secret(n *keyed.Node) *Secret {
	s := n.Get("password")
	if s == nil {
		r.Fault(n, fault.Missing, "the key password is missing").Fix("write password: {file: secrets/NAME} or password: {env: NAME}")
		return nil
	}
	if s.Kind != keyed.Table {
		// What stands here may be a password: it is not quoted.
		r.Faults = append(r.Faults, fault.New(fault.Type, "a password does not stand in this file").In(s.Path).At(s.Pos).
			Fix("write where it is to be found: password: {file: secrets/NAME} or password: {env: NAME}"))
		return nil
	}
	r.Keys(s, "a password", "file", "env")
	out := &Secret{Pos: s.Pos}
	file, env := r.Text(s, "file", ""), r.Text(s, "env", "")
	switch {
	case (file == nil) == (env == nil):
		r.Fault(s, fault.Missing, "a password is found in a file or in the environment, one of the two").
			Fix("write password: {file: secrets/NAME} or password: {env: NAME}")
	case env != nil:
		if out.Env = env.Text; !regexp.MustCompile(`^[A-Za-z_][A-Za-z0-9_]*$`).MatchString(env.Text) {
			r.Fault(env, fault.Syntax, "this is no name of an environment variable").Fix("write the name, not the password")
		}
	default:
		clean, f := insidePath(file.Text)
		if f != nil {
			r.Adopt(file, f)
		}
		out.File = clean
	}
	return out
}

func (r *mapReader) port(n *keyed.Node, g *Gateway) {
	if p := r.Text(n, "port", "write the serial port, as in /dev/ttyUSB0"); p != nil {
		g.Address = p.Text
	}
	g.Port.Baud = r.whole(n, "baud", "write the speed, as in 9600", 50, 4_000_000)
	if c := r.Text(n, "characters", "write 8N1, 8E1, 7E1 or what the sender is set to"); c != nil {
		m := regexp.MustCompile(`^([78])([NEO])([12])$`).FindStringSubmatch(c.Text)
		if m == nil {
			r.Fault(c, fault.Syntax, "%s is no form of character", keyed.Quote(c.Text)).Fix("write 8N1, 8E1, 7E1: bits, parity (N, E, O), stop bits")
			return
		}
		g.Port.DataBits, g.Port.Parity, g.Port.StopBits = int(m[1][0]-'0'), m[2][0], int(m[3][0]-'0')
		if g.Kind == ModbusRTU && g.Port.DataBits != 8 {
			r.Fault(c, fault.Range, "Modbus RTU needs 8 bits in a character").Fix("write 8N1, 8N2, 8E1 or 8O1")
		}
	}
}

func (r *mapReader) modbus(n *keyed.Node, g *Gateway) {
	g.Unit = uint8(r.whole(n, "unit_id", "write the unit id of the device, 1 to 247", 1, 255))
	g.Registers = r.Choice(n, "registers",
		"say how the numbers of registers are to be read: from 0, from 1, or prefixed (40001 is the first holding register)", ZeroBased, OneBased, Prefixed)
	g.order = r.Choice(n, "word_order", "", orders...)
	if g.Poll = r.duration(n, "poll", "write how often to read, as in 100 ms", time.Millisecond, time.Hour); n.Get("timeout") == nil {
		g.Timeout = 500 * time.Millisecond
	} else {
		g.Timeout = r.duration(n, "timeout", "", time.Millisecond, time.Minute)
	}
}

func (r *mapReader) lines(n *keyed.Node, g *Gateway) {
	if r.Choice(n, "lines", "write cr lf for lines that end in CR, LF or both, or stx etx for framed ones", "cr lf", "stx etx") == "stx etx" {
		g.Ending = line.Framed
	}
	s := line.Spec{Steady: r.Texts(n, "steady"), Unsteady: r.Texts(n, "unsteady"), Overload: r.Texts(n, "overload")}
	at := n
	if t := r.Text(n, "pattern", ""); t != nil {
		s.Template, at = t.Text, t
	}
	if t := r.Text(n, "regexp", ""); t != nil {
		s.Regexp, at = t.Text, t
	}
	p, err := line.Compile(s)
	if err != nil {
		r.Adopt(at, err)
	}
	g.Pattern = p
	g.Units = map[string]string{}
	if u := n.Get("units"); u != nil && u.Kind == keyed.Table {
		for _, it := range u.Items {
			if t := r.Text(u, it.Name, ""); t != nil {
				g.Units[it.Name] = t.Text
			}
		}
	} else if u != nil {
		r.Fault(u, fault.Type, "units is a map, as in {KG: kg}")
	}
}

func (r *mapReader) whole(n *keyed.Node, key, need string, low, high int) int {
	it := r.Text(n, key, need)
	if it == nil {
		return 0
	}
	v, err := strconv.Atoi(it.Text)
	if err != nil || v < low || v > high {
		r.Fault(it, fault.Range, "%s cannot be %s", key, keyed.Quote(it.Text)).Fix("it is a whole number from %d to %d", low, high)
		return 0
	}
	return v
}

func (r *mapReader) number(n *keyed.Node, key string, otherwise float64) float64 {
	it := r.Text(n, key, "")
	if it == nil {
		return otherwise
	}
	v, err := strconv.ParseFloat(it.Text, 64)
	if err != nil || !(v > -1e12 && v < 1e12) {
		r.Fault(it, fault.Range, "%s cannot be %s", key, keyed.Quote(it.Text)).Fix("it is a plain number")
		return otherwise
	}
	return v
}

func (r *mapReader) frequency(n *keyed.Node, key string) float64 {
	it := r.Text(n, key, "")
	if it == nil {
		return 0
	}
	v, err := frequency(it.Text)
	if err != nil {
		r.Adopt(it, err)
	}
	return v
}

func (r *mapReader) duration(n *keyed.Node, key, need string, low, high time.Duration) time.Duration {
	it := r.Text(n, key, need)
	if it == nil {
		return 0
	}
	v, err := exact[quantity.Duration](it.Text)
	if err != nil {
		r.Adopt(it, err)
		return 0
	}
	if d := time.Duration(v * 1e9); d >= low && d <= high {
		return d
	}
	r.Fault(it, fault.Range, "%s cannot be %s", key, keyed.Quote(it.Text)).Fix("it lies from %s to %s", low, high)
	return 0
}

var (
	channelKeys = []string{
		"gateway", "address", "kind", "unit", "signal", "scale", "offset", "type", "word_order",
		"calibration", "serial", "leg", "radio", "battery", "rate", "bandwidth", "resolution",
	}
	channelKinds = []string{LoadCell, HookHeight, Tilt, WindSpeed, CraneTotal}
)

func (r *mapReader) channel(n *keyed.Node) {
	c := &Channel{Name: n.Name, Pos: n.Pos}
	if strings.TrimSpace(n.Name) != n.Name || n.Name == "" || len(n.Name) > 64 {
		r.Fault(n, fault.Syntax, "%s is no name for a channel", keyed.Quote(n.Name)).Fix("write 1 to 64 characters, no blanks around them")
	}
	if !r.Keys(n, "a channel", channelKeys...) {
		return
	}
	c.Kind = r.Choice(n, "kind", "write kind: with one of "+strings.Join(channelKinds, ", "), channelKinds...)
	g := r.gatewayOf(n)
	if g == nil || c.Kind == "" {
		return
	}
	c.Gateway = g.Name
	c.Wire = r.wire(n, g)
	r.unit(n, g, c)
	r.cell(n, c)
	c.Radio = r.health(n, g, "radio", "dBm")
	c.Battery = r.health(n, g, "battery", "%", "1")
	c.Rate, c.Bandwidth = r.frequency(n, "rate"), r.frequency(n, "bandwidth")
	if it := r.Text(n, "resolution", ""); it != nil {
		v, err := c.amount(it.Text)
		switch {
		case err != nil:
			r.Adopt(it, err)
		case !(v > 0):
			r.Fault(it, fault.Range, "a resolution of %s cannot be", keyed.Quote(it.Text)).Fix("it is the smallest step the sender shows, above zero")
		}
		c.Resolution = v
	}
	r.m.channels = append(r.m.channels, c)
	r.claim(n, g, &c.Wire, target{c, value}, "channel "+c.Name)
	if c.Radio != nil {
		r.claim(n.Get("radio"), g, c.Radio, target{c, radio}, "the radio of channel "+c.Name)
	}
	if c.Battery != nil {
		r.claim(n.Get("battery"), g, c.Battery, target{c, battery}, "the battery of channel "+c.Name)
	}
}

func (r *mapReader) gatewayOf(n *keyed.Node) *Gateway {
	it := r.Text(n, "gateway", "write the name of the gateway that sends it")
	if it == nil {
		return nil
	}
	g := r.m.Gateway(it.Text)
	if g == nil && !slices.Contains(r.broken, it.Text) {
		var names []string
		for _, g := range r.m.gateways {
			names = append(names, g.Name)
		}
		r.Fault(it, fault.Reference, "there is no gateway %s", keyed.Quote(it.Text)).Fix("the gateways are %s", strings.Join(names, ", "))
	}
	return g
}

// wire reads where a value comes from. n is a channel, or its radio or battery.
func (r *mapReader) wire(n *keyed.Node, g *Gateway) Wire {
	w := Wire{Scale: r.number(n, "scale", 1), Offset: r.number(n, "offset", 0)}
	if w.Scale == 0 {
		r.Fault(n.Get("scale"), fault.Range, "a scale of zero makes every value the same")
	}
	a := r.Text(n, "address", "write what the gateway calls it: a topic, a register, a field of its lines")
	if a == nil {
		return w
	}
	w.Address = a.Text
	modbus := g.Kind == ModbusTCP || g.Kind == ModbusRTU
	for _, key := range []string{"type", "word_order"} {
		if it := n.Get(key); it != nil && !modbus {
			r.Fault(it, fault.UnknownKey, "%s is for Modbus registers only", key).Fix("remove it")
		}
	}
	switch {
	case modbus:
		w.Register, w.Address = r.register(n, a, g)
	case g.Kind == MQTT && strings.HasPrefix(w.Address, "tele/") && !strings.HasPrefix(w.Address, "tele/"+g.Name+"/"):
		r.Fault(a, fault.Reference, "gateway %s may publish below tele/%s/ only", g.Name, g.Name).Fix("write the topic as tele/%s/...", g.Name)
	case g.Kind == MQTT && strings.HasPrefix(w.Address, "tele/") && (strings.Contains(w.Address, "+") || strings.HasSuffix(w.Address, "#")):
		r.Fault(a, fault.Ambiguous, "%s stands for many topics", keyed.Quote(w.Address)).Fix("one topic is one channel: write it out; a field of JSON follows a #")
	case g.Kind == Serial && g.Pattern != nil && !g.Pattern.Has("channel") && w.Address != "value":
		r.Fault(a, fault.Reference, "the lines of gateway %s have no field channel", g.Name).
			Fix("write address: value, or put {channel} into the pattern")
	}
	return w
}

var orders = []string{"ABCD", "CDAB", "BADC", "DCBA"}

var registerText = regexp.MustCompile(`^(?:(holding|input) )?\s*(\d{1,6})$`)

// register reads "holding 107" or, where the numbers are prefixed, "40108". It
// gives the address in one form, so that two ways to write it are the same.
func (r *mapReader) register(n, a *keyed.Node, g *Gateway) (reg Register, address string) {
	types := []string{"int16", "uint16", "int32", "uint32", "int64", "uint64", "float32", "float64"}
	reg.Type = r.Choice(n, "type", "write type: with one of "+strings.Join(types, ", "), types...)
	m := registerText.FindStringSubmatch(a.Text)
	switch {
	case m == nil, (m[1] == "") != (g.Registers == Prefixed):
		f := r.Fault(a, fault.Syntax, "%s is no register", keyed.Quote(a.Text))
		if g.Registers == Prefixed {
			f.Fix("write the number with its prefix, as in 40108")
		} else {
			f.Fix("write holding 107 or input 8")
		}
		return reg, a.Text
	}
	number, _ := strconv.Atoi(m[2])
	switch reg.Input = m[1] == "input"; g.Registers {
	case OneBased:
		number--
	case Prefixed:
		// Five figures reach 9999 registers, six all of them.
		digits := m[2]
		rest := digits[min(1, len(digits)):]
		number, _ = strconv.Atoi(rest)
		number--
		switch {
		case (len(digits) == 5 || len(digits) == 6) && digits[0] == '4':
		case (len(digits) == 5 || len(digits) == 6) && digits[0] == '3':
			reg.Input = true
		default:
			r.Fault(a, fault.Syntax, "%s has not the prefix of a holding or an input register", keyed.Quote(a.Text)).
				Fix("write 40001 or 400001 for the first holding register, 30001 or 300001 for the first input register")
			return reg, a.Text
		}
	}
	if number < 0 || number+reg.Count()-1 > 65535 {
		r.Fault(a, fault.Range, "there is no register %s", keyed.Quote(a.Text)).Fix("on the wire they go from 0 to 65535; registers: %s", g.Registers)
		return reg, a.Text
	}
	reg.First = uint16(number)
	// The order of words may be said once for the gateway. It is never guessed.
	// A single register is turned round only where the channel itself says so:
	// senders do not agree on what their order means for 16 bits.
	if reg.Count() > 1 {
		reg.Order = g.order
	}
	if n.Get("word_order") != nil || reg.Order == "" && reg.Count() > 1 {
		reg.Order = r.Choice(n, "word_order", "write word_order: with one of ABCD, CDAB, BADC, DCBA; "+
			"123456.0 as float32 is 47F1 2000 in order ABCD", orders...)
	}
	table := "holding "
	if reg.Input {
		table = "input "
	}
	return reg, table + strconv.Itoa(number)
}

func (r *mapReader) unit(n *keyed.Node, g *Gateway, c *Channel) {
	unit, signal := r.Text(n, "unit", ""), n.Get("signal")
	switch {
	case unit != nil && signal != nil:
		r.Fault(signal, fault.Disagree, "a value is in a unit of its own or in that of a signal, not both").
			Fix("keep unit if the sender has done the calibration, signal if it sends the bare output of the cell")
	case signal != nil:
		c.Signal = r.Choice(n, "signal", "", "mV/V", "counts")
		c.Unit, c.factor = c.Signal, 1
		if c.Kind != LoadCell {
			r.Fault(signal, fault.Range, "only a load cell sends a bare signal")
		}
	case unit != nil:
		f, err := unitFactor(c.Kind, unit.Text)
		if err != nil {
			r.Adopt(unit, err)
		}
		c.Unit, c.factor = unit.Text, f
	case g.Kind == Serial && (g.Pattern == nil || g.Pattern.Has("unit")):
	case g.Kind == HTTP:
	default:
		f := r.Fault(n, fault.NoUnit, "the unit on the wire is missing")
		if c.Kind == Tilt {
			f.Fix("unit: deg from vertical")
		} else {
			f.Fix("write unit: with the unit the sender counts in; a figure without one is never taken")
		}
	}
}

func (r *mapReader) cell(n *keyed.Node, c *Channel) {
	for _, k := range []struct {
		key  string
		into *string
	}{{"serial", &c.Serial}, {"leg", &c.Leg}} {
		if it := r.Text(n, k.key, ""); it != nil {
			if *k.into = strings.TrimSpace(it.Text); c.Kind != LoadCell {
				r.Fault(it, fault.Range, "only a load cell has a %s", k.key).Fix("remove it")
			}
		}
	}
	file := r.Text(n, "calibration", "")
	switch {
	case file == nil && c.Signal != "":
		r.Fault(n, fault.Missing, "a bare signal needs a calibration").Fix("calibration: the file with the points of its certificate")
	case file == nil:
	case c.Signal == "":
		r.Fault(file, fault.Disagree, "the sender gives a force already, a calibration would be applied twice").
			Fix("remove the calibration, or write signal: mV/V in place of the unit")
	default:
		r.calibration(file, c)
	}
}

// amount reads a quantity of the channel's kind.
func (c *Channel) amount(s string) (float64, error) {
	if c.Signal != "" {
		return signalValue(s, c.Signal)
	}
	switch c.Kind {
	case LoadCell, CraneTotal:
		v, err := quantity.ParseRating(s)
		return float64(v.Force), err
	case HookHeight:
		return exact[quantity.Length](s)
	case WindSpeed:
		return exact[quantity.Speed](s)
	}
	return exact[quantity.Angle](s)
}

func (r *mapReader) health(n *keyed.Node, g *Gateway, key string, units ...string) *Wire {
	it := n.Get(key)
	if it == nil {
		return nil
	}
	if g.Kind == Serial {
		r.Fault(it, fault.Unsupported, "lines of an indicator tell nothing of %s", key).Fix("remove it")
		return nil
	}
	if !r.Keys(it, "the entry "+key, "address", "unit", "scale", "offset", "type", "word_order") {
		return nil
	}
	w := r.wire(it, g)
	w.Unit = r.Choice(it, "unit", "write unit: with one of "+strings.Join(units, ", "), units...)
	if w.factor = 1; w.Unit == "%" {
		w.factor = 0.01
	}
	return &w
}

// claim gives an address to one taker.
func (r *mapReader) claim(n *keyed.Node, g *Gateway, w *Wire, t target, who string) {
	if w.Address == "" {
		return
	}
	key := wireKey{g.Name, w.Address}
	if r.owner == nil {
		r.owner = map[wireKey]string{}
	}
	at := n
	if a := n.Get("address"); a != nil {
		at = a
	}
	if first, taken := r.owner[key]; taken {
		r.Fault(at, fault.Duplicate, "%s of gateway %s is %s already", keyed.Quote(w.Address), g.Name, first).Fix("one address is one channel")
		return
	}
	if slices.Contains(g.Ignore, w.Address) {
		r.Fault(at, fault.Disagree, "%s of gateway %s is to be ignored, and is a channel", keyed.Quote(w.Address), g.Name).Fix("take it out of ignore")
	}
	r.owner[key], r.m.wires[key] = who, t
}

// distinct checks what no channel can see by itself: cells, legs and registers
// that two of them claim.
func (r *mapReader) distinct() {
	type place struct{ what, name string }
	first := map[place]*Channel{}
	for _, c := range r.m.channels {
		for _, p := range []place{{"cell", c.Serial}, {"leg", c.Leg}} {
			if p.name == "" {
				continue
			}
			other := first[p]
			if first[p] = c; other == nil {
				continue
			}
			n := &keyed.Node{Path: "channels." + c.Name, Pos: c.Pos}
			if p.what == "cell" {
				r.Fault(n, fault.Duplicate, "the cell %s is channel %s already", keyed.Quote(p.name), other.Name).Fix("one cell hangs in one leg and is one channel")
			} else {
				r.Fault(n, fault.Duplicate, "the leg %s is measured by channel %s already", keyed.Quote(p.name), other.Name).Fix("one leg has one cell")
			}
		}
	}
	for i, c := range r.m.channels {
		for _, d := range r.m.channels[:i] {
			if c.Gateway == d.Gateway && c.Register.Type != "" && c.Address != d.Address && c.Register.overlaps(d.Register) {
				r.Fault(&keyed.Node{Path: "channels." + c.Name + ".address", Pos: c.Pos}, fault.Disagree, "its registers overlap those of channel %s", d.Name).
					Fix("check the numbers and the types of both")
			}
		}
	}
}

func (r Register) overlaps(o Register) bool {
	return r.Type != "" && o.Type != "" && r.Input == o.Input &&
		int(r.First) < int(o.First)+o.Count() && int(o.First) < int(r.First)+r.Count()
}
