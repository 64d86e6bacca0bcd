package serial_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"plumbhook/internal/intake"
	"plumbhook/internal/intake/intaketest"
	"plumbhook/internal/intake/serial"
	"plumbhook/reading"
)

func readMap(t testing.TB, text string) *intake.Map {
	t.Helper()
	m, err := intake.Read("map.yaml", nil, []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return m
}

const twoChannels = `
channels:
  W: {gateway: dial, kind: load cell, address: A1}
  E: {gateway: dial, kind: load cell, address: A2}
`

// indicator is the counterpart of the suite: it sends lines at its end of a
// pty.
type indicator struct {
	port   *intaketest.Pty
	m      *intake.Map
	framed bool
}

func (c *indicator) Map() *intake.Map { return c.m }

func (c *indicator) Run(ctx context.Context, sink intake.Sink, link intake.Link) error {
	return serial.Run(ctx, c.m.Gateways()[0], c.m, sink, link)
}

func (c *indicator) write(t testing.TB, s string) {
	if _, err := c.port.Master().WriteString(s); err != nil {
		t.Fatal(err)
	}
}

func (c *indicator) frame(s string) string {
	if c.framed {
		return "\x02" + s + "\x03\r\n"
	}
	return s + "\r\n"
}

func (c *indicator) Send(t testing.TB, samples []intaketest.Sample) {
	names := map[string]string{"W": "A1", "E": "A2"}
	var b strings.Builder
	for _, s := range samples {
		b.WriteString(c.frame(fmt.Sprintf("ST,%s,%+9.2f kN", names[s.Channel], s.Newton/1000)))
	}
	c.write(t, b.String())
}

// Garble cuts a line short, sends noise, and an unheard-of mark.
func (c *indicator) Garble(t testing.TB) {
	c.write(t, "ST,A1,+  12.3\xff\x00\x91\xfe")
	c.write(t, c.frame("")+c.frame("XX,A1,+ 12.34 kN"))
}

func (c *indicator) Stray(t testing.TB) string {
	c.write(t, c.frame("ST,A9,+ 12.34 kN"))
	return "A9"
}

func (c *indicator) Cut(t testing.TB) { c.port.Pull(t) }

// Restore starts with an end of line, as a stream that is tuned into does: what
// stands before the first one is not trusted.
func (c *indicator) Restore(t testing.TB) {
	c.port.Plug(t)
	if !c.framed {
		c.write(t, "\r\n")
	}
}

func TestConformance(t *testing.T) {
	for _, c := range []struct {
		name, lines string
		framed      bool
	}{{"cr lf", "cr lf", false}, {"stx etx", "stx etx", true}} {
		t.Run(c.name, func(t *testing.T) {
			intaketest.Run(t, intaketest.Kit{
				Marks: reading.Timed | reading.Numbered,
				New: func(t *testing.T) intaketest.Counterpart {
					port := intaketest.NewPty(t)
					i := &indicator{port: port, framed: c.framed, m: readMap(t, `
channel_map: 1
gateways:
  dial: {kind: serial, port: `+port.Path+`, baud: 9600, characters: 8N1, lines: `+c.lines+`,
         pattern: "{stable},{channel},{value} {unit}", steady: [ST], unsteady: [US], overload: [OL]}`+twoChannels)}
					if !c.framed {
						i.write(t, "\r\n")
					}
					return i
				},
			})
		})
	}
}

// listen sends text into a port and gives what came of it, once there is so
// much of readings and garbled lines.
func listen(t *testing.T, gateway, channels, text string, n int) (readings []reading.Reading, garbled []string) {
	t.Helper()
	port := intaketest.NewPty(t)
	m := readMap(t, "channel_map: 1\ngateways:\n  dial: {kind: serial, port: "+port.Path+", baud: 9600, characters: 7E1, lines: cr lf, "+gateway+"}\nchannels:\n"+channels)
	ctx, cancel := context.WithCancel(context.Background())
	var frames intaketest.Frames
	ended := make(chan error, 1)
	go func() { ended <- serial.Run(ctx, m.Gateways()[0], m, &frames, &intaketest.Link{}) }()
	if _, err := port.Master().WriteString("\r\n" + text); err != nil {
		t.Fatal(err)
	}
	for end := time.Now().Add(30 * time.Second); ; time.Sleep(time.Millisecond) {
		readings, garbled = nil, nil
		for _, f := range frames.All() {
			readings, garbled = append(readings, f.Readings...), append(garbled, f.Garbled...)
		}
		if len(readings)+len(garbled) >= n {
			break
		}
		if time.Now().After(end) {
			t.Errorf("waited in vain: %+v, %q", readings, garbled)
			break
		}
	}
	cancel()
	if err := <-ended; err != nil {
		t.Error(err)
	}
	return readings, garbled
}

// What an indicator says of a value comes along, and what it does not say is
// not made up.
func TestListen(t *testing.T) {
	readings, garbled := listen(t,
		`pattern: "{stable} {value} {unit}", steady: [S], unsteady: [M], overload: [OVER], units: {KG: kg}`,
		"  W: {gateway: dial, kind: load cell, address: value}\n",
		"S  1250 KG\r\nM  1260 KG\r\nS OVER KG\r\nS ------ KG\r\nS        KG\r\nS  1250\r\nS  1250 ton\r\nS  1.250,5 KG\r\nS -  12 KG\r\n", 9)
	type got struct {
		value    float64
		quality  reading.Quality
		unsteady bool
	}
	var have []got
	for i, r := range readings {
		g := got{r.Value, r.Quality, r.Marks&reading.Unsteady != 0}
		if g.quality == reading.Bad {
			if r.Usable() {
				t.Errorf("a bad reading of %g is usable", r.Value)
			}
			g.value = 0
		}
		have = append(have, g)
		if r.Seq != uint64(i+1) {
			t.Errorf("reading %d has number %d", i, r.Seq)
		}
	}
	g := 9.80665 // no constant: products are to be rounded as at run time
	want := []got{
		{1250 * g, reading.Good, false},
		{1260 * g, reading.Good, true},
		{0, reading.Bad, false},
		{0, reading.Bad, false},
		{0, reading.Bad, false},
		{-12 * g, reading.Good, false},
	}
	if !slices.Equal(have, want) {
		t.Errorf("readings %+v, want %+v", have, want)
	}
	if len(garbled) != 3 || !strings.Contains(garbled[0], "without its unit: S  1250") ||
		!strings.HasSuffix(garbled[1], "S  1250 ton") || !strings.HasSuffix(garbled[2], "S  1.250,5 KG") {
		t.Errorf("garbled %q", garbled)
	}
}

// The unit may stand in the map where the lines have none; where both have one
// they agree, or the line is no reading.
func TestUnit(t *testing.T) {
	readings, garbled := listen(t, `pattern: "{value}"`,
		"  W: {gateway: dial, kind: load cell, address: value, unit: short ton}\n", "+ 2.50\r\n", 1)
	if len(readings) != 1 || readings[0].Value != 2.5*8896.443230521 || len(garbled) != 0 {
		t.Errorf("%+v, %q", readings, garbled)
	}
	readings, garbled = listen(t, `pattern: "{value} {unit}"`,
		"  W: {gateway: dial, kind: load cell, address: value, unit: t}\n", "2.5 t\r\n2500 kg\r\n", 2)
	if len(readings) != 1 || readings[0].Value != 2.5*9806.65 || len(garbled) != 1 {
		t.Errorf("%+v, %q", readings, garbled)
	}
}
