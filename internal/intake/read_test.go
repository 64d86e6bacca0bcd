package intake_test

import (
	"fmt"
	"io/fs"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"plumbhook/fault"
	"plumbhook/internal/intake"
	"plumbhook/internal/intake/line"
	"plumbhook/internal/testkit"
	"plumbhook/reading"
)

func site(t testing.TB) *intake.Map {
	t.Helper()
	files := os.DirFS("testdata")
	data, err := fs.ReadFile(files, "site.yaml")
	if err != nil {
		t.Fatal(err)
	}
	m, err := intake.Read("site.yaml", files, data)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func channel(t testing.TB, m *intake.Map, name string) *intake.Channel {
	t.Helper()
	for _, c := range m.Channels() {
		if c.Name == name {
			return c
		}
	}
	t.Fatalf("no channel %s", name)
	return nil
}

func TestReadGateways(t *testing.T) {
	m := site(t)
	var names []string
	for _, g := range m.Gateways() {
		names = append(names, g.Name+" "+g.Kind)
	}
	if want := []string{"yard mqtt", "plc modbus tcp", "crane modbus rtu", "dial serial", "logger http"}; !slices.Equal(names, want) {
		t.Errorf("gateways %q, want %q", names, want)
	}
	plc, crane, dial := m.Gateway("plc"), m.Gateway("crane"), m.Gateway("dial")
	if plc.Address != "10.0.0.7:502" || plc.Unit != 1 || plc.Poll != 100*time.Millisecond || plc.Timeout != 250*time.Millisecond || plc.Registers != intake.OneBased {
		t.Errorf("plc %+v", plc)
	}
	if crane.Address != "/dev/ttyUSB0" || crane.Port != (intake.Port{Baud: 19200, DataBits: 8, StopBits: 1, Parity: 'E'}) || crane.Poll != 200*time.Millisecond || crane.Timeout != 500*time.Millisecond {
		t.Errorf("crane %+v", crane)
	}
	if dial.Ending != line.Framed || !dial.Pattern.Has("channel") || dial.Units["KG"] != "kg" || dial.Port.DataBits != 7 {
		t.Errorf("dial %+v", dial)
	}
	if m.Gateway("nobody") != nil || len(m.Of("plc")) != 3 {
		t.Error("channels of gateways")
	}
}

func TestReadChannels(t *testing.T) {
	m := site(t)
	w := channel(t, m, "W")
	if w.Serial != "LC-1041" || w.Leg != "west" || w.Rate != 10 || w.Bandwidth != 4 || w.Kind != intake.LoadCell {
		t.Errorf("%+v", w)
	}
	testkit.Near(t, "resolution of W", w.Resolution, 5*9.80665, testkit.Tol{ULPs: 1})
	e := channel(t, m, "E")
	if e.Signal != "mV/V" || e.Resolution != 0.0001 || e.Calibration.Serial != "LC-1042" || len(e.Calibration.Points) != 3 ||
		e.Calibration.Points[1] != (intake.CalibrationPoint{Signal: 0.8034, Force: 20000}) {
		t.Errorf("%+v, %+v", e, e.Calibration)
	}
	testkit.Near(t, "4 t", e.Calibration.Points[2].Force, 39226.6, testkit.Tol{ULPs: 1})

	// Addresses of registers, as on the wire: holding 108 counted from 1 is
	// 107, and so is 40108.
	for name, want := range map[string]intake.Register{
		"travel": {First: 107, Type: "float32", Order: "CDAB"},
		"tilt":   {First: 7, Type: "int16", Input: true},
		"wind":   {First: 109, Type: "uint16"},
		"total":  {First: 107, Type: "int32", Order: "DCBA"},
	} {
		if got := channel(t, m, name).Register; got != want {
			t.Errorf("%s: %+v, want %+v", name, got, want)
		}
	}
}

// The factors are exact by definition: 1 ft = 0.3048 m, 1 km/h = 1/3.6 m/s,
// 1 short ton = 2000 lb of 0.45359237 kg, standard gravity 9.80665 m/s2.
func TestSI(t *testing.T) {
	m := site(t)
	for _, c := range []struct {
		channel   string
		raw, want float64
	}{
		{"W", 12.5, 12500},
		{"E", 0.8034, 0.8034},
		{"S", 1, 2000 * 0.45359237 * 9.80665},
		{"travel", 10, 3.048},
		{"tilt", 250, 2.5 * math.Pi / 180},
		{"wind", 185, 18. / 3.6},
		{"total", 1500, 1.5 * 9806.65},
	} {
		got, err := channel(t, m, c.channel).SI(c.raw)
		if err != nil {
			t.Errorf("%s: %v", c.channel, err)
		}
		testkit.Near(t, c.channel, got, c.want, testkit.Tol{ULPs: 2})
		for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
			if v, err := channel(t, m, c.channel).SI(bad); err == nil || !math.IsNaN(v) {
				t.Errorf("%s: %g becomes %g", c.channel, bad, v)
			}
		}
	}
	n := channel(t, m, "N")
	if v, err := n.SI(12); err == nil || !math.IsNaN(v) {
		t.Errorf("a value without a unit becomes %g", v)
	}
	if v, err := n.SIIn(12, "kN"); err != nil || v != 12000 {
		t.Errorf("12 kN is %g, %v", v, err)
	}
	for _, c := range []struct {
		channel, unit string
		code          fault.Code
	}{
		{"N", "ton", fault.Ambiguous},
		{"N", "", fault.BadUnit},
		{"N", "m", fault.BadUnit},
		{"N", "2 kN", fault.BadUnit},
		{"W", "t", fault.Disagree},
		{"E", "kN", fault.Disagree},
		{"tilt", "deg", fault.Ambiguous},
	} {
		v, err := channel(t, m, c.channel).SIIn(12, c.unit)
		if err == nil || !math.IsNaN(v) || fault.Of(err)[0].Code != c.code && c.channel != "tilt" {
			t.Errorf("12 %s on %s is %g, %v; want %s", c.unit, c.channel, v, err, c.code)
		}
	}
}

func TestLookup(t *testing.T) {
	m := site(t)
	name, toSI, ok := m.Lookup("yard", "tele/yard/west#force")
	if !ok || name != "W" {
		t.Fatalf("%q %v", name, ok)
	}
	if v, err := toSI(2); err != nil || v != 2000 {
		t.Errorf("2 kN is %g, %v", v, err)
	}
	if name, toSI, ok = m.LookupIn("dial", "A1", "t"); !ok || name != "N" {
		t.Fatalf("%q %v", name, ok)
	}
	if v, err := toSI(2); err != nil || v != 19613.3 {
		t.Errorf("2 t is %g, %v", v, err)
	}
	name, set, ok := m.LookupHealth("yard", "tele/yard/west#battery", "")
	h := reading.Health{Signal: math.NaN(), Battery: math.NaN()}
	if !ok || name != "W" || set(&h, 85) != nil || h.Battery != 0.85 || !math.IsNaN(h.Signal) {
		t.Errorf("%q %v %+v", name, ok, h)
	}
	if set(&h, 101) == nil || h.Battery != 0.85 {
		t.Error("a battery more than full")
	}
	// None of these is a value, and only the last is unknown.
	for _, a := range []string{"tele/yard/west#rssi", "tele/yard/state#uptime", "tele/yard/north"} {
		if _, _, ok := m.Lookup("yard", a); ok {
			t.Errorf("%s is a value", a)
		}
	}
	if _, _, ok := m.Lookup("plc", "tele/yard/west#force"); ok {
		t.Error("the address of another gateway")
	}
	m.Lookup("yard", "tele/yard/north")
	want := []intake.Unmapped{{Gateway: "plc", Address: "tele/yard/west#force", Count: 1}, {Gateway: "yard", Address: "tele/yard/north", Count: 2}}
	if got := m.Unmapped(); !slices.Equal(got, want) {
		t.Errorf("unmapped %v, want %v", got, want)
	}
	// Names made up on the wire do not fill the memory.
	for i := range 5000 {
		m.Lookup("yard", fmt.Sprint("tele/yard/", i))
		m.Lookup(fmt.Sprint("gateway", i), "x")
	}
	if n := len(m.Unmapped()); n > 1200 {
		t.Errorf("%d unknown addresses are kept", n)
	}
}

func TestPasswords(t *testing.T) {
	m := site(t)
	env := func(values map[string]string) func(string) string { return func(k string) string { return values[k] } }
	files := fstest.MapFS{"secrets/yard": {Data: []byte("seven blue herons\n")}}
	if got, err := m.Passwords(intake.MQTT, files, env(nil)); err != nil || got["yard"] != "seven blue herons" || len(got) != 1 {
		t.Errorf("%v, %v", got, err)
	}
	if got, err := m.Passwords(intake.HTTP, files, env(map[string]string{"LOGGER_PASSWORD": "four grey herons"})); err != nil || got["logger"] != "four grey herons" {
		t.Errorf("%v, %v", got, err)
	}
	for _, c := range []struct {
		kind string
		env  map[string]string
		want string
	}{
		{intake.HTTP, nil, "site.yaml:36:5: gateways.logger.password: the environment variable LOGGER_PASSWORD holds no password"},
		{intake.HTTP, map[string]string{"LOGGER_PASSWORD": "heron"}, "shorter than 8"},
		{intake.MQTT, nil, "the file secrets/yard cannot be read"},
	} {
		_, err := m.Passwords(c.kind, fstest.MapFS{}, env(c.env))
		if err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "heron") {
			t.Errorf("%v, want %q", err, c.want)
		}
	}
	two, err := intake.Read("m.yaml", nil, []byte(`{channel_map: 1, gateways: {a: {kind: http, password: {env: A}}, b: {kind: http, password: {env: A}}},
  channels: {W: {gateway: a, address: x, kind: load cell}}}`))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := two.Passwords(intake.HTTP, nil, env(map[string]string{"A": "four grey herons"})); err == nil || !strings.Contains(err.Error(), "the same password") {
		t.Errorf("a password for two: %v", err)
	}
}

// Each case is the site's map with one text put in place of another, and what
// is said of it.
func TestReadRefuses(t *testing.T) {
	files := os.DirFS("testdata")
	good, err := fs.ReadFile(files, "site.yaml")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ old, text, want string }{
		{"channel_map: 1", "channel_map: 2", "site.yaml:1:14: channel_map: channel_map cannot be `2`"},
		{"channel_map: 1\n", "", "the key channel_map is missing"},
		{"channel_map: 1\n", "channel_map: 1\nchanels: {}\n", "site.yaml:2:1: chanels: a channel map has no key `chanels`"},
		{"kind: mqtt", "kind: radio", "site.yaml:4:11: gateways.yard.kind: kind cannot be `radio`"},
		{"{file: secrets/yard}", "seven blue herons", "a password does not stand in this file"},
		{"{file: secrets/yard}", "{file: ../yard}", "is no file in the folder"},
		{"{file: secrets/yard}", "{file: a, env: B}", "one of the two"},
		{"{file: secrets/yard}", "{env: a b}", "no name of an environment variable"},
		{"  yard:  ", "  ya/rd:  ", "no name for a gateway"},
		{"10.0.0.7:502", "10.0.0.7", "is not host:port"},
		{"unit_id: 1\n", "unit_id: 0\n", "unit_id cannot be `0`"},
		{"    registers: from 1\n", "", "say how the numbers of registers are to be read"},
		{"poll: 100 ms", "poll: 100", "site.yaml:13:11: gateways.plc.poll: "},
		{"poll: 100 ms", "poll: 0 ms", "poll cannot be `0 ms`"},
		{"characters: 8E1", "characters: 7E1", "needs 8 bits"},
		{"characters: 8E1", "characters: E8", "no form of character"},
		{"lines: stx etx", "lines: etx", "lines cannot be `etx`"},
		{"{value} {unit}\"", "{wert} {unit}\"", "site.yaml:29:34: gateways.dial.pattern: a line has no field `wert`"},
		{"    steady: [ST]\n", "    steady: [US]\n", "means steady and something else"},
		{"gateway: plc, address: holding 108", "gateway: plcs, address: holding 108", "there is no gateway `plcs`"},
		{"unit: kN\n", "unit: ton\n", "short ton"},
		{"unit: kN\n", "unit: m\n", "channels.W.unit"},
		{"unit: kN\n", "unit: 2 kN\n", "is no unit"},
		{"    unit: kN\n", "", "site.yaml:38:3: channels.W: the unit on the wire is missing"},
		{"unit: kN\n", "unit: kN\n    signal: mV/V\n", "not both"},
		{"signal: mV/V\n", "signal: V\n", "signal cannot be `V`"},
		{"    calibration: cal/LC-1042.yaml\n", "", "a bare signal needs a calibration"},
		{"signal: mV/V\n", "unit: kN\n", "would be applied twice"},
		{"serial: LC-1042\n", "serial: LC-1043\n", "the calibration is of cell `LC-1042`, the channel of cell `LC-1043`"},
		{"cal/LC-1042.yaml", "cal/none.yaml", "cannot be read"},
		{"cal/LC-1042.yaml", "../LC-1042.yaml", "no file in the folder"},
		{"unit: deg from vertical", "unit: deg", "channels.tilt.unit"},
		{"unit: deg from vertical", "unit: deg from horizontal", "tilt is the angle of the load's z axis to the vertical"},
		{"serial: LC-7", "serial: LC-1041", "the cell `LC-1041` is channel W already"},
		{"leg: north", "leg: west", "the leg `west` is measured by channel W already"},
		{"address: tele/yard/east#output", "address: tele/yard/west#force", "`tele/yard/west#force` of gateway yard is channel W already"},
		{"address: tele/yard/east#output", "address: tele/yart/east", "may publish below tele/yard/ only"},
		{"address: tele/yard/east#output", "address: tele/yard/+", "stands for many topics"},
		{"address: tele/yard/east#output", "address: tele/yard/#", "stands for many topics"},
		{"address: tele/yard/east#output", "address: tele/yard/west#rssi", "is the radio of channel W already"},
		{"address: tele/yard/east#output", "address: tele/yard/state#uptime", "is to be ignored, and is a channel"},
		{"  E:\n", "  W:\n", "site.yaml:50:3: `W` stands twice in one map, first in line 38"},
		{"address: holding 110", "address: holding 109", "its registers overlap those of channel travel"},
		{"address: holding 108", "address: holding 110", "of gateway plc is channel travel already"},
		{"address: holding 108", "address: 40108", "`40108` is no register"},
		{"address: holding 108", "address: holding 0", "there is no register `holding 0`"},
		{"address: holding 108", "address: holding 65536", "there is no register `holding 65536`"},
		{"address: 40108", "address: holding 108", "is no register"},
		{"address: 40108", "address: 108", "has not the prefix"},
		{"address: 40108", "address: 50108", "has not the prefix"},
		{"address: 40108", "address: 40000", "there is no register"},
		{"type: float32", "type: float", "type cannot be `float`"},
		{"word_order: DCBA, ", "", "write word_order"},
		{"word_order: DCBA", "word_order: little", "word_order cannot be `little`"},
		{"scale: 0.1,", "scale: 0,", "a scale of zero"},
		{"scale: 0.1,", "scale: 0.1 kN,", "scale cannot be `0.1 kN`"},
		{"rate: 10 Hz", "rate: 10", "a frequency needs a unit"},
		{"bandwidth: 4 Hz", "bandwidth: 0 Hz", "a frequency of `0 Hz` cannot be"},
		{"resolution: 5 kg", "resolution: 5", "site.yaml:49:17: channels.W.resolution"},
		{"resolution: 0.0001 mV/V", "resolution: 1 kg", "is not in mV/V"},
		{"unit: \"%\"", "unit: V", "unit cannot be `V`"},
		{"kind: load cell, serial: LC-7", "kind: load cell, type: int16, serial: LC-7", "for Modbus registers only"},
		{"kind: crane total", "kind: crane total, leg: west", "only a load cell has a leg"},
		{"channel_map: 1", "channel_map: &a 1", "anchors, aliases and tags have no use here"},
		{"channel_map: 1", "channel_map: [1", "a comma or a ] is missing before this"},
		{"channel_map: 1", "channel_map: 1\u200b", "a character that cannot be seen"},
		{"channel_map: 1", "channel_map: " + strings.Repeat("[", 40), "inside each other"},
	} {
		if strings.Count(string(good), c.old) < 1 {
			t.Fatalf("the map has no %q", c.old)
		}
		text := strings.Replace(string(good), c.old, c.text, 1)
		m, err := intake.Read("site.yaml", files, []byte(text))
		if err == nil || m != nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q for %q: %v\nwant %q", c.text, c.old, err, c.want)
			continue
		}
		for _, f := range fault.Of(err) {
			if f.Pos.Line == 0 || f.Pos.Column == 0 || f.Pos.File == "" {
				t.Errorf("%q for %q: no place: %v", c.text, c.old, f)
			}
		}
		if strings.Contains(err.Error(), "heron") {
			t.Errorf("a password is told: %v", err)
		}
	}
}

// Several mistakes are told at once, in the order of the file.
func TestReadAllAtOnce(t *testing.T) {
	_, err := intake.Read("m.yaml", nil, []byte(`channel_map: 1
gateways:
  a: {kind: mqtt, password: {env: A}}
  b: {kind: http, pasword: {env: B}}
channels:
  W: {gateway: a, kind: load cell, address: x}
  E: {gateway: a, kind: load cell, address: y, unit: tons}
  N: {gateway: b, kind: load cell, address: z}
`))
	var got []string
	for _, f := range fault.Of(err) {
		got = append(got, f.Pos.String()+" "+string(f.Code))
	}
	want := []string{"m.yaml:4:3 missing", "m.yaml:4:19 unknown-key", "m.yaml:6:3 no-unit", "m.yaml:7:54 ambiguous"}
	if !slices.Equal(got, want) {
		t.Errorf("%q, want %q\n%v", got, want, err)
	}
}

func TestCalibration(t *testing.T) {
	files := os.DirFS("testdata")
	good, _ := fs.ReadFile(files, "site.yaml")
	m, err := intake.Read("site.yaml", files, []byte(strings.Replace(string(good), "cal/LC-1042", "cal/powers", 1)))
	if err != nil {
		t.Fatal(err)
	}
	if got := channel(t, m, "E").Calibration.Coefficients; !slices.Equal(got, []float64{-30, 24900, 4}) {
		t.Errorf("coefficients %v", got)
	}
	cal, _ := fs.ReadFile(files, "cal/LC-1042.yaml")
	for _, c := range []struct{ old, text, want string }{
		{"calibration: 1", "calibration: 7", "cal.yaml:1:14"},
		{"serial: LC-1042\n", "", "the key serial is missing"},
		{"signal: mV/V", "signal: counts", "is not in counts"},
		{"20 kN", "20", "cal.yaml:6:19: points[2][2]: "},
		{"20 kN", "20 tons", "cal.yaml:6:22: points[2][2]: "},
		{"20 kN", "19..21 kN", "without a spread"},
		{"[0.8034 mV/V, 20 kN]", "[0.8034, 20 kN]", "is not in mV/V"},
		{"[0.8034 mV/V, 20 kN]", "20 kN", "a point is a pair"},
		{"points:", "punkte:", "has no key `punkte`"},
		{"signal: mV/V\n", "signal: mV/V\ncoefficients: [1 kN, 2 kN]\n", "one of the two"},
	} {
		m := fstest.MapFS{"cal.yaml": {Data: []byte(strings.Replace(string(cal), c.old, c.text, 1))}}
		_, err := intake.Read("m.yaml", m, []byte(`channel_map: 1
gateways: {a: {kind: mqtt, password: {env: A}}}
channels:
  E: {gateway: a, kind: load cell, address: x, signal: mV/V, serial: LC-1042, calibration: cal.yaml}
`))
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q for %q: %v, want %q", c.text, c.old, err, c.want)
		}
	}
}

// TestCurve goes through curves whose forces can be worked out on paper. Without
// load the cell of the points reads 0.0012 mV/V, which is no force.
func TestCurve(t *testing.T) {
	pairs := func(v ...float64) (out []intake.CalibrationPoint) {
		for i := 0; i < len(v); i += 2 {
			out = append(out, intake.CalibrationPoint{Signal: v[i], Force: v[i+1]})
		}
		return out
	}
	// Deflection = 4e-5 f (1 + 1e-6 f), f in N: bent, and exact in its points.
	bent := []float64{0.0012, 0}
	for f := 5000.0; f <= 40000; f += 5000 {
		bent = append(bent, 0.0012+4e-5*f*(1+1e-6*f), f)
	}
	for _, c := range []struct {
		name string
		cal  intake.Calibration
		want []float64 // signal, N
	}{
		{"two points", intake.Calibration{Points: pairs(0.0012, 0, 0.8012, 20000)}, []float64{0.0012, 0, 0.4012, 10000, 1.6012, 40000}},
		{"three, the usual", intake.Calibration{Points: pairs(0.0012, 0, 0.8034, 20000, 1.6012, 40000)}, []float64{0.0012, 0, 1.6012, 40000}},
		{"two, no zero", intake.Calibration{Points: pairs(0.4, 10000, 1.2, 30000)}, []float64{0, 0, 0.8, 20000}},
		{"bent", intake.Calibration{Points: pairs(bent...)}, []float64{0.0012, 0, 0.0012 + 4e-5*12500*1.0125, 12500, bent[16], 40000}},
		{"powers", intake.Calibration{Coefficients: []float64{-30, 24900, 4}}, []float64{0, -30, 2, 49786}},
	} {
		c.cal.Signal = "mV/V"
		curve, err := c.cal.Curve()
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		for i := 0; i < len(c.want); i += 2 {
			if got := curve(c.want[i]); math.Abs(got-c.want[i+1]) > 1e-6 {
				t.Errorf("%s: %g mV/V is %.9g N, want %g", c.name, c.want[i], got, c.want[i+1])
			}
		}
	}
	if _, err := (&intake.Calibration{Points: pairs(0, 0, 1, 1e4, 1.2, 2e4, 1.1, 3e4, 0.9, 4e4)}).Curve(); err == nil {
		t.Error("a curve that turns back is taken")
	}
}

func FuzzRead(f *testing.F) {
	files := os.DirFS("testdata")
	good, err := fs.ReadFile(files, "site.yaml")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(string(good))
	f.Add("channel_map: 1\ngateways: {a: {kind: serial}}\nchannels: {W: {}}")
	f.Add("? [a]\n: {}")
	f.Fuzz(func(t *testing.T, text string) {
		m, err := intake.Read("map.yaml", files, []byte(text))
		if (m == nil) != (err != nil) {
			t.Fatalf("%v, %v", m, err)
		}
		for _, f := range fault.Of(err) {
			if f.Code == fault.Internal || f.Pos.Line < 1 || f.Pos.Column < 1 {
				t.Fatalf("%#v", f)
			}
		}
		if m == nil {
			return
		}
		for _, c := range m.Channels() {
			if name, _, ok := m.Lookup(c.Gateway, c.Address); !ok || name != c.Name {
				t.Fatalf("channel %q is not found by its address %q", c.Name, c.Address)
			}
		}
	})
}
