package lift_test

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"testing/fstest"
	"unicode/utf8"

	"plumbhook/fault"
	"plumbhook/lift"
	"plumbhook/quantity"
)

// base is a plain two-leg lift; tests change pieces of it.
const base = `plumbhook: 1
title: Pump motor out of well 3
load:
  mass: 4400 kg ± 3 %
  cg: 0.05 0 0.9 m ± 20 mm
  lugs:
    west: {at: -0.7 0 1.6 m, wll: 5 t}
    east: {at: 0.7 0 1.6 m, wll: 5 t}
hooks:
  main: {wll: 12 t}
legs:
  west: {from: main, to: load.west, length: 2.4 m}
  east: {from: main, to: load.east, length: 2.4 m}
`

// with changes base: pairs of old and new text.
func with(t testing.TB, pairs ...string) string {
	t.Helper()
	s := base
	for i := 0; i < len(pairs); i += 2 {
		if strings.Count(s, pairs[i]) != 1 {
			t.Fatalf("%q stands %d times in the base file", pairs[i], strings.Count(s, pairs[i]))
		}
		s = strings.Replace(s, pairs[i], pairs[i+1], 1)
	}
	return s
}

func read(t testing.TB, text string) *lift.Lift {
	t.Helper()
	l, err := lift.Read("test.yaml", os.DirFS("testdata"), []byte(text))
	if err != nil {
		t.Fatalf("%v\nin\n%s", err, text)
	}
	return l
}

func refuse(t testing.TB, text string) fault.List {
	t.Helper()
	l, err := lift.Read("test.yaml", os.DirFS("testdata"), []byte(text))
	if err == nil || l != nil {
		t.Fatalf("accepted\n%s", text)
	}
	return fault.Of(err)
}

func near(a, b float64) bool { return math.Abs(a-b) <= 1e-12*math.Max(1, math.Abs(b)) }

func TestContract(t *testing.T) {
	data, err := os.ReadFile("testdata/contract.yaml")
	if err != nil {
		t.Fatal(err)
	}
	l := read(t, string(data))
	sum := sha256.Sum256(data)
	west, east, top := l.Legs[1], l.Legs[2], l.Legs[0]
	total, err := l.Load.Sheet.Sum(l.Load.Wet)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		what      string
		got, want any
	}{
		{"sha", l.SHA256, hex.EncodeToString(sum[:])},
		{"title", l.Title, "Pump motor out of well 3, Kestrel Point waterworks"},
		{"revision and rulebook", l.Revision + l.Rulebook, "Bus"},
		{"g", float64(l.Site.G.Value), 9.81},
		{"temperature", float64(l.Site.Temperature.Low), 263.15},
		{"wind", float64(l.Site.Wind.Value), 9.0},
		{"dynamic", l.Dynamic.Factor, 1.1},
		{"warn", float64(l.Limits.Total.Warn.Force), 50e3},
		{"stop", float64(l.Limits.Total.Stop.Force), 55e3},
		{"tilt", float64(l.Limits.Tilt.Value), math.Pi / 60},
		{"parts", len(l.Load.Sheet.Parts), 3},
		{"direct", l.Load.Sheet.Direct, false},
		{"listed", float64(total.Listed), 4100.0 + 240 + 85},
		{"from", l.Load.Sheet.Parts[0].From, "nameplate"},
		{"size", l.Load.Size.XYZ(), [3]float64{1.6, 1.4, 1.8}},
		{"at", l.Load.At.XYZ(), [3]float64{}},
		{"lugs", l.Load.Lugs[0].Name + " " + l.Load.Lugs[1].Name, "west east"},
		{"axis", *l.Load.Lugs[0].Axis, [3]float64{0, 1, 0}},
		{"hole", float64(l.Load.Lugs[0].Hole.Value), 0.03},
		{"lug wll", float64(l.Load.Lugs[0].WLL.Force), 5000 * 9.80665},
		{"lug type", l.Load.Lugs[1].Type, "shoulder eye bolt"},
		{"hook", l.Hooks[0].At == nil && l.Hooks[0].WLL.FromMass, true},
		{"ring", float64(l.Nodes[0].Mass.Value), 9.0},
		{"top", float64(top.Stiffness.Value), 400e6},
		{"ends", top.From.String() + " " + west.From.String() + " " + west.To.String(), "main ring load.west"},
		{"stack", len(west.Stack), 5},
		{"stack length", float64(west.Length.Value), 3*0.084 + 0.28 + 2.4},
		{"stack spread", float64(west.Length.High - west.Length.Value), 0.012},
		{"stack stiffness of the catalogue", west.Stiffness != nil && west.Stiffness.Shape == quantity.Uniform, true},
		{"stack rating of the catalogue", west.Stack[3].WLL.Text, "5.6 short ton"},
		{"facts", west.Stack[3].Facts, map[string]string{"rope": "6x19 EIPS IWRC", "splice": "mechanical", "diameter": "3/4 in"}},
		{"pin", west.Stack[1].Facts["pin"], "25 mm"},
		{"cell", *west.Stack[1].Cell.Accuracy, lift.Accuracy{Share: 0.001, OfFullScale: true, Text: "0.1 % fs"}},
		{"cell channel", west.Stack[1].Cell.Channel + string(west.Stack[1].Cell.Zero), "Wnone"},
		{"no cell", west.Stack[0].Cell == nil, true},
		{"east cell", east.Cell.Channel + string(east.Cell.Zero), "Ehung"},
		{"hitch", east.Hitch, lift.Straight},
		{"crane", l.Cranes[0].Hook + " " + l.Cranes[0].Chart, "main chart.csv"},
		{"block", float64(l.Cranes[0].Block.Value), 350.0},
		{"channels", fmt.Sprint(l.Channels[0].Name, l.Channels[0].Kind, len(l.Channels)), "travelhook height3"},
		{"place", l.Place("legs.east.cell.channel").String(), "test.yaml:36:26"},
	} {
		got, isFloat := c.got.(float64)
		if want, _ := c.want.(float64); isFloat && near(got, want) {
			continue
		}
		if !reflect.DeepEqual(c.got, c.want) {
			t.Errorf("%s: %v, want %v", c.what, c.got, c.want)
		}
	}
}

// TestContractWithoutLengths: the catalogue knows the length of a bow shackle
// from its size, as a range from memory; that of a dee shackle it does not
// know, and it has to be measured.
func TestContractWithoutLengths(t *testing.T) {
	data, err := os.ReadFile("testdata/contract.yaml")
	if err != nil {
		t.Fatal(err)
	}
	text := strings.ReplaceAll(string(data), ", length: 84 mm", "")
	l := read(t, text)
	for _, k := range []int{0, 2, 4} {
		m := l.Legs[1].Stack[k].Length
		if m == nil || m.Shape != quantity.Uniform || m.Low > 0.084 || m.High < 0.084 {
			t.Errorf("shackle %d: length %+v", k+1, m)
		}
	}
	faults := refuse(t, strings.ReplaceAll(text, "bow shackle", "dee shackle"))
	if len(faults) != 3 {
		t.Fatal(faults)
	}
	for i, f := range faults {
		if want := fmt.Sprintf("legs.west.stack[%d]", 2*i+1); f.Code != fault.Missing || f.Where != want || !strings.Contains(f.Do, "measure") {
			t.Error(f)
		}
	}
}

// TestRefused has one mistake a row: what is changed in base, the class of the
// fault, the thing it names, and the text that its place points at.
func TestRefused(t *testing.T) {
	leg := "to: load.east, length: 2.4 m}"
	for _, c := range []struct {
		old, new string
		code     fault.Code
		where    string
		at       string // what stands at the place of the fault
	}{
		// values
		{"4400 kg ± 3 %", "4400", fault.NoUnit, "load.mass", "4400"},
		{"4400 kg ± 3 %", "4400 ± 3 %", fault.NoUnit, "load.mass", "4400"},
		{"4400 kg ± 3 %", "4.4 ton", fault.Ambiguous, "load.mass", "ton"},
		{"4400 kg ± 3 %", `"4.4 ton"`, fault.Ambiguous, "load.mass", "ton"},
		{"4400 kg ± 3 %", "-4400 kg", fault.Range, "load.mass", "-4400"},
		{"4400 kg ± 3 %", "0 kg", fault.Range, "load.mass", "0 kg"},
		{"4400 kg ± 3 %", "44 kN", fault.BadUnit, "load.mass", "kN"},
		{"4400 kg ± 3 %", "[4400 kg]", fault.Type, "load.mass", "mass"},
		{"4400 kg ± 3 %", "", fault.Missing, "load.mass", "mass"},
		{"4400 kg ± 3 %", strings.Repeat("4", 2000), fault.TooLarge, "load.mass", "4444"},
		{"0.05 0 0.9 m ± 20 mm", "0.05 0.9 m", fault.Syntax, "load.cg", "0.05"},
		{"0.05 0 0.9 m ± 20 mm", "[1 m, 2 m]", fault.Type, "load.cg", "cg"},
		{"0.05 0 0.9 m ± 20 mm", "[1 m, 2 kg, 3 m]", fault.BadUnit, "load.cg[2]", "kg"},
		{"0.05 0 0.9 m ± 20 mm", "{x: 1 m}", fault.Type, "load.cg", "cg"},
		{leg, "to: load.east, length: 0 m}", fault.Range, "legs.east.length", "0 m"},
		{leg, "to: load.east, length: 1 m ± 120 %}", fault.Range, "legs.east.length", "1 m"},
		{leg, "to: load.east, length: 1 m, friction: 0.1 %}", fault.Type, "legs.east.friction", "0.1 %"},
		{leg, "to: load.east, length: 1 m, friction: 3}", fault.Range, "legs.east.friction", "3}"},
		{leg, "to: load.east, length: 1 m, friction: .nan}", fault.Type, "legs.east.friction", ".nan"},
		{leg, "to: load.east, length: 1 m, stiffness: 0 N/m}", fault.Range, "legs.east.stiffness", "0 N/m"},
		{leg, "to: load.east, length: 1 m, stiffness: 5 kN}", fault.BadUnit, "legs.east.stiffness", "kN"},
		{leg, "to: load.east, length: 1 m, hitch: choker, choke_angle: 190 deg}", fault.Range, "legs.east.choke_angle", "190"},
		{leg, "to: load.east, length: 1 m, choke_angle: 120 deg}", fault.Disagree, "legs.east.choke_angle", "120"},
		{leg, "to: load.east, length: 1 m, hitch: bight}", fault.Range, "legs.east.hitch", "bight"},
		{leg, "to: load.east, length: 1 m, hangs: catenary}", fault.Missing, "legs.east.hangs", "catenary"},
		{leg, "to: load.east, length: 1 m, assembly_wll: {wll: 5 t, legs: 2, angle: 60 deg}}", fault.Ambiguous, "legs.east.assembly_wll.angle", "}}"},
		{leg, "to: load.east, length: 1 m, assembly_wll: {wll: 5 t, legs: two, angle: 60 deg included}}", fault.Type, "legs.east.assembly_wll.legs", "two"},
		{leg, "to: load.east, length: 1 m, assembly_wll: {wll: 5 t, angle: 60 deg included}}", fault.Missing, "legs.east.assembly_wll", "assembly_wll"},
		{leg, "to: load.east, length: 1 m, cell: {channel: E, accuracy: 0.1 %}}", fault.Ambiguous, "legs.east.cell.accuracy", "0.1 %"},
		{leg, "to: load.east, length: 1 m, cell: {channel: E, accuracy: 0.1 % fs}}", fault.Missing, "legs.east.cell", "cell"},
		{leg, "to: load.east, length: 1 m, cell: {capacity: 5 t}}", fault.Missing, "legs.east.cell", "cell"},
		{leg, "to: load.east, length: 1 m, cell: {channel: E, accuracy: 60 % of reading}}", fault.Range, "legs.east.cell.accuracy", "60 %"},
		{leg, "to: load.east}", fault.Missing, "legs.east", "east"},
		{leg, "to: load.east, stack: []}", fault.Missing, "legs.east", "east"},
		{leg, "to: load.east, stack: [{kind: shackle, length: 1 m, capacity: 5 t}]}", fault.UnknownKey, "legs.east.stack[1]", "kind"},
		{leg, "to: load.east, stack: [{length: 1 m}]}", fault.Missing, "legs.east.stack[1]", "length"},
		{leg, "to: load.east, stack: [{kind: sling, length: 1 m, diameter: 12}]}", fault.NoUnit, "legs.east.stack[1].diameter", "12"},
		{leg, "to: load.east, stack: [{kind: sling, length: 1 m}], cell: {channel: E}}", fault.Disagree, "legs.east.cell", "cell"},
		{leg, "to: load.east, stack: {kind: sling, length: 1 m}}", fault.Type, "legs.east.stack", "stack"},
		{"title: Pump motor out of well 3", "dynamic: {factor: 0.9}", fault.Range, "dynamic.factor", "0.9"},
		{"title: Pump motor out of well 3", "dynamic: 1.2", fault.Type, "dynamic", "1.2"},
		{"title: Pump motor out of well 3", "limits: {total: {warn: 6 t, stop: 5 t}}", fault.Disagree, "limits.total", "total"},
		{"title: Pump motor out of well 3", "limits: {total: {}}", fault.Missing, "limits.total", "total"},
		{"title: Pump motor out of well 3", "limits: {tilt: 3 deg from horizontal}", fault.Ambiguous, "limits.tilt", "3 deg"},
		{"title: Pump motor out of well 3", "limits: {legs: {wets: {stop: 5 t}}}", fault.Reference, "limits.legs.wets", "wets"},
		{"title: Pump motor out of well 3", "site: {g: 0 m/s2}", fault.Range, "site.g", "0 m/s2"},
		{"title: Pump motor out of well 3", "site: {temperature: 20}", fault.NoUnit, "site.temperature", "20"},
		{"title: Pump motor out of well 3", `title: ""`, fault.Missing, "title", `""`},
		// keys and names
		{"title:", "titel:", fault.UnknownKey, "titel", "titel"},
		{"mass: 4400 kg ± 3 %", "weight: 4400 kg", fault.UnknownKey, "load.weight", "weight"},
		{"title: Pump", "mass: 4 kg\nplumbhook: 1\ntitle: Pump", fault.UnknownKey, "mass", "mass"},
		{"  east: {from", "  ea.st: {from", fault.Range, "legs.ea.st", "ea.st"},
		{"  east: {from", "  west: {from", fault.Duplicate, "", "west: {from: main, to: load.east"},
		{"  main: {wll", "  load: {at: 0 0 5 m}\n  main: {at: 0 0 5 m, wll", fault.Duplicate, "hooks.load", "load: {at: 0 0 5"},
		// references
		{"to: load.east", "to: load.eats", fault.Reference, "legs.east.to", "load.eats"},
		{"to: load.east", "to: load", fault.Reference, "legs.east.to", "load, length"},
		{"to: load.east", "to: east", fault.Reference, "legs.east.to", "east, length"},
		{"to: load.east", "to: main.east", fault.Reference, "legs.east.to", "main.east"},
		{"to: load.east", "to: main", fault.Rig, "legs.east", "east"},
		{"to: load.east", "via: [load.x], to: main", fault.Reference, "legs.east.via[1]", "load.x"},
		{"east: {from: main", "east: {from: load.west", fault.Rig, "legs.east", "east"},
		{"legs:\n", "supports: {heel: {at: main, level: 0 m}}\nlegs:\n", fault.Reference, "supports.heel.at", "main, level"},
		{"legs:\n", "ties: {bolt: {at: load.eats, to: 0 0 0 m}}\nlegs:\n", fault.Reference, "ties.bolt.at", "load.eats"},
		{"legs:\n", "steps: [{legs: {wets: {length: 3 m}}}]\nlegs:\n", fault.Reference, "steps[1].legs.wets", "wets"},
		{"legs:\n", "steps: [{ties: {bolt: {released: true}}}]\nlegs:\n", fault.Reference, "steps[1].ties.bolt", "bolt"},
		{"legs:\n", "steps: [{name: raise}, {name: raise}]\nlegs:\n", fault.Duplicate, "steps[2]", "name: raise}]"},
		{"legs:\n", "crane: {tail: {radius: 9 m}}\nlegs:\n", fault.Reference, "crane.tail", "tail"},
		{"legs:\n", "crane: {main: {chart: /etc/passwd}}\nlegs:\n", fault.Path, "crane.main.chart", "/etc"},
		{"legs:\n", "crane: {main: {chart: a/../../b.csv}}\nlegs:\n", fault.Path, "crane.main.chart", "a/.."},
		{"legs:\n", "crane: {main: {chart: 'C:\\b.csv'}}\nlegs:\n", fault.Path, "crane.main.chart", "C:"},
		{"legs:\n", "channels: {W: hook hight}\nlegs:\n", fault.Range, "channels.W", "hook hight"},
		{"legs:\n", "nodes: {ring: {mass: 9 kg}}\nlegs:\n", fault.Rig, "nodes.ring", "ring"},
		// the world
		{"  main: {wll", "  tail: {at: 1 0 5 m}\n  main: {wll", fault.Missing, "hooks.main", "main"},
		{"legs:\n", "supports: {heel: {at: load.west, level: 0 m}}\nlegs:\n", fault.Missing, "hooks.main", "main"},
		{"legs:\n", "ties: {bolt: {at: load.west, to: 0 0 0 m}}\nlegs:\n", fault.Missing, "hooks.main", "main"},
		{"legs:\n", "steps: [{hooks: {main: {at: 0 0 5 m}}}]\nlegs:\n", fault.Missing, "hooks.main", "main"},
		{"  main: {wll", "  tail: {at: 1 0 5 m}\n  main: {at: 0 0 5 m, wll", fault.Rig, "hooks.tail", "tail"},
		{"  main: {wll: 12 t}", "  {}", fault.Missing, "hooks", "hooks"},
		// gear by another name
		{leg, "to: load.east, stack: [{kind: bow shakle, length: 1 m}]}", fault.Reference, "legs.east.stack[1].kind", "bow shakle"},
		{leg, "to: load.east, stack: [{kind: Load-cel, length: 1 m}]}", fault.Reference, "legs.east.stack[1].kind", "Load-cel"},
		{"east: {at: 0.7 0 1.6 m, wll: 5 t}", "east: {at: 0.7 0 1.6 m, type: shoulder eye blot}", fault.Reference, "load.lugs.east.type", "shoulder eye blot"},
		{leg, "to: load.east, stack: [{serial: KP-1}]}", fault.Missing, "legs.east.stack[1]", "serial"},
		// a comma, a tab
		{leg, "to: load.east, length: 2,4 m}", fault.Ambiguous, "legs.east.4 m", "4 m"},
		{"0.05 0 0.9 m ± 20 mm", "1\t0 0 1 m", fault.Syntax, "", "\t0 0 1 m"},
		{"  cg:", "\tcg:", fault.Syntax, "", "\tcg"},
		{"4400 kg ± 3 %", "60–110 kg", fault.Syntax, "load.mass", "–110"},
		{"4400 kg ± 3 %", "4,4 t", fault.Ambiguous, "load.mass", ",4 t"},
		// cells
		{leg, "to: load.east, length: 1 m, cell: {channel: E, capacity: 5 t, temperature_effect: 0.02 %}}", fault.Syntax, "legs.east.cell.temperature_effect", "0.02"},
		{leg, "to: load.east, length: 1 m, cell: {channel: E, capacity: 5 t, temperature_effect: 0.02 % per °C}}", fault.Ambiguous, "legs.east.cell.temperature_effect", "0.02"},
		{leg, "to: load.east, length: 1 m, cell: {channel: E, capacity: 5 t, temperature_effect: 5 % fs per °C}}", fault.Range, "legs.east.cell.temperature_effect", "5 %"},
		{leg, "to: load.east, length: 1 m, cell: {channel: E, temperature_effect: 0.1 % fs per °C}}", fault.Missing, "legs.east.cell.temperature_effect", "0.1"},
		// ground
		{"legs:\n", "crane: {main: {reactions: {rear: {force: 5 t}}}}\nlegs:\n", fault.Missing, "crane.main.reactions.rear", "rear"},
		{"legs:\n", "crane: {main: {mat: {length: 1 m, width: 1 m}, reactions: {rear: {from: us}}}}\nlegs:\n", fault.Missing, "crane.main.reactions.rear", "rear"},
		{"legs:\n", "crane: {main: {mat: {length: 1 m, width: 1 m}, reactions: {rear: {share: 70 %}}}}\nlegs:\n", fault.Missing, "crane.main.reactions.rear", "rear"},
		{"legs:\n", "crane: {main: {machine: 9 t, mat: {length: 1 m, width: 1 m}, reactions: {rear: {share: 70 %, force: 5 t}}}}\nlegs:\n", fault.Disagree, "crane.main.reactions.rear", "rear"},
		// too much
		{"  main: {wll: 12 t}\n", "  main: {at: 0 0 5 m}\nsteps: [" + strings.Repeat("{hooks: {main: {at: 0 0 5 m}}},", 501) + "]\n", fault.TooLarge, "steps", "steps"},
		// load
		{"mass: 4400 kg ± 3 %", "mass: 4 t\n  size_from: 0 0 0 m", fault.Missing, "load.size_from", "0 0 0 m"},
		{"  mass: 4400 kg ± 3 %\n", "", fault.Missing, "load", "load"},
		{"  cg: 0.05 0 0.9 m ± 20 mm\n", "", fault.Missing, "load", "load"},
		{"mass: 4400 kg ± 3 %", "turn: 90 deg", fault.Ambiguous, "load.turn", "90 deg"},
		{"mass: 4400 kg ± 3 %", "mass: 4 t\n  turn: [90 deg about z, 90 deg about x]", fault.Ambiguous, "load.turn[2]", "90 deg about x"},
		{"mass: 4400 kg ± 3 %", "mass: 4 t\n  turn: 90 deg ± 1 deg about x", fault.Range, "load.turn", "90 deg"},
		{"mass: 4400 kg ± 3 %", "mass: 4 t\n  size: 1 -1 1 m", fault.Range, "load.size", "1 -1"},
		{"mass: 4400 kg ± 3 %", "mass: 4 t\n  wet: maybe", fault.Range, "load.wet", "maybe"},
		{"mass: 4400 kg ± 3 %", "mass: 4 t\n  contingency: 120 %", fault.Range, "load.contingency", "120"},
		// version
		{"plumbhook: 1", "plumbhook: 2", fault.Unsupported, "plumbhook", "2"},
		{"plumbhook: 1", "plumbhook: one", fault.Type, "plumbhook", "one"},
		{"plumbhook: 1\n", "", fault.Missing, "", "title"},
		// YAML
		{"wll: 12 t}", "wll: 12 t", fault.Syntax, "", "legs:"},
		{"title: Pump motor", "title: Pump\u200b motor", fault.Syntax, "", "Pump"},
		{"wll: 12 t}", "wll: \"12\\e[31m t\"}", fault.Syntax, "", `"12`},
		{"  main: {wll", "  \"ma\\u202ein\": {wll", fault.Syntax, "", `"ma`},
		{"title: Pump motor", "title: Pump: motor", fault.Syntax, "", "Pump: motor"},
		{"title: Pump motor out of well 3", "title: *pump", fault.Reference, "", "*pump"},
		{"title: Pump motor", "title: !x Pump motor", fault.Type, "", "!x"},
	} {
		t.Run(c.new[:min(len(c.new), 60)], func(t *testing.T) {
			text := with(t, c.old, c.new)
			faults := refuse(t, text)
			for _, f := range faults {
				if f.Code != c.code || f.Where != c.where {
					continue
				}
				line := []rune(strings.Split(text, "\n")[f.Pos.Line-1])
				if got := string(line[min(f.Pos.Column-1, len(line)):]); !strings.HasPrefix(got, c.at) {
					t.Errorf("%v points at %q, want %q", f, got, c.at)
				}
				if f.Do == "" {
					t.Errorf("%v gives no advice", f)
				}
				return
			}
			t.Errorf("got\n%v\nwant %s of %q", faults, c.code, c.where)
		})
	}
}

// TestOneFaultEach: a single slip is told once, without a trail of others.
func TestOneFaultEach(t *testing.T) {
	for _, pair := range [][2]string{
		{"hooks:", "hoks:"},
		{"    west: {at", "    wset: {at"},
		{"  lugs:", "  lgus:"},
		{"length: 2.4 m}\n  east", "lenght: 2.4 m}\n  east"},
		{"to: load.east", "too: load.east"},
		{"  main: {wll: 12 t}", "  - main"},
		{"  east: {from: main, to: load.east, length: 2.4 m}", "  east: load.east"},
		{"mass: 4400 kg", "mass: 4400"},
	} {
		if faults := refuse(t, with(t, pair[0], pair[1])); len(faults) != 1 {
			t.Errorf("%q: %v", pair[1], faults)
		}
	}
}

func TestAccepted(t *testing.T) {
	deg := math.Pi / 180
	for _, c := range []struct {
		old, new string
		got      func(l *lift.Lift) any
		want     any
	}{
		{"0.05 0 0.9 m ± 20 mm", "[50 mm, 0 m, 3 ft]", func(l *lift.Lift) any { return l.Load.Sheet.Parts[0].At.XYZ() }, [3]float64{0.05, 0, 0.9144}},
		{"0.05 0 0.9 m ± 20 mm", "[50 mm, 0, 0.9 m]", func(l *lift.Lift) any { return l.Load.Sheet.Parts[0].At.XYZ() }, [3]float64{0.05, 0, 0.9}},
		{"{at: 0.7 0 1.6 m, wll: 5 t}", "0.7 0 1.6 m", func(l *lift.Lift) any { return l.Load.Lugs[1].At.XYZ() }, [3]float64{0.7, 0, 1.6}},
		{"{at: 0.7 0 1.6 m, wll: 5 t}", "[0.7 m, 0 m, 1.6 m]", func(l *lift.Lift) any { return l.Load.Lugs[1].Name }, "east"},
		{"{at: 0.7 0 1.6 m, wll: 5 t}", "{at: 0.7 0 1.6 m, axis: [0, 0, 2]}", func(l *lift.Lift) any { return *l.Load.Lugs[1].Axis }, [3]float64{0, 0, 1}},
		{"  main: {wll: 12 t}", "  main:", func(l *lift.Lift) any { return l.Hooks[0].Name }, "main"},
		{"title: Pump motor out of well 3", "title: 2026", func(l *lift.Lift) any { return l.Title }, "2026"},
		{"title: Pump motor out of well 3", "revision: 1.10", func(l *lift.Lift) any { return l.Revision }, "1.10"},
		{"title: Pump motor out of well 3", "title: >\n  Pump motor\n  out of well 3", func(l *lift.Lift) any { return l.Title }, "Pump motor out of well 3"},
		{"title: Pump motor out of well 3", "steps:", func(l *lift.Lift) any { return len(l.Steps) }, 0},
		{"title: Pump motor out of well 3", "title: Pump motor\t# with a tab before what is said of it\t\n#\tand more\t", func(l *lift.Lift) any { return l.Title }, "Pump motor"},
		{"to: load.east, length: 2.4 m}", "to: load.east, stack: [{kind: swivel link, length: 1 m}]}", func(l *lift.Lift) any { return l.Legs[1].Stack[0].Meant }, "swivel ring"},
		{"title: Pump motor out of well 3", "# nothing", func(l *lift.Lift) any { return float64(l.Site.G.Value) }, 9.80665},
		{"title: Pump motor out of well 3", "site: {wind: 9 m/s}", func(l *lift.Lift) any { return float64(l.Site.G.Value) }, 9.80665},
		{"title: Pump motor out of well 3", "limits: {tilt: 3 deg from vertical}", func(l *lift.Lift) any { return float64(l.Limits.Tilt.Value) }, 3 * deg},
		{"plumbhook: 1\ntitle: Pump motor out of well 3", "---\nplumbhook: 1\ntitle: Pump motor", func(l *lift.Lift) any { return l.Title }, "Pump motor"},
		{"mass: 4400 kg ± 3 %", "mass: 4 t\n  wet: no", func(l *lift.Lift) any { return l.Load.Wet }, false},
		{"mass: 4400 kg ± 3 %", "mass: 4 t", func(l *lift.Lift) any { return l.Load.Wet }, true},
		{"mass: 4400 kg ± 3 %", "mass: 4 t\n  from: nameplate", func(l *lift.Lift) any { return l.Load.Sheet.Parts[0].From }, "nameplate"},
		{"mass: 4400 kg ± 3 %", "mass: 4 t\n  contingency: 5 %", func(l *lift.Lift) any { return float64(l.Load.Sheet.Contingency) }, 0.05},
		{"mass: 4400 kg ± 3 %", "mass: 4 t\n  turn: 90 deg about y", func(l *lift.Lift) any { return *l.Load.Turn }, lift.Turn{Y: quantity.Angle(90 * deg), Text: "90 deg about y"}},
		{"mass: 4400 kg ± 3 %", "mass: 4 t\n  turn: x 90 deg", func(l *lift.Lift) any { return l.Load.Turn.X }, quantity.Angle(90 * deg)},
		{"mass: 4400 kg ± 3 %", "mass: 4 t\n  turn: [x 10 deg, 20 deg about z]", func(l *lift.Lift) any { return [2]quantity.Angle{l.Load.Turn.X, l.Load.Turn.Z} }, [2]quantity.Angle{quantity.Angle(10 * deg), quantity.Angle(20 * deg)}},
		{"mass: 4400 kg ± 3 %", "mass: 4 t\n  turn: [0 deg, 90 deg, -30 deg]", func(l *lift.Lift) any { return [2]quantity.Angle{l.Load.Turn.Y, l.Load.Turn.Z} }, [2]quantity.Angle{math.Pi / 2, -math.Pi / 6}},
		{"mass: 4400 kg ± 3 %", "mass: 4 t\n  turn: 0 90 -30.5 deg", func(l *lift.Lift) any { return [2]quantity.Angle{l.Load.Turn.Y, l.Load.Turn.Z} }, [2]quantity.Angle{math.Pi / 2, -30.5 * math.Pi / 180}},
		{"legs:\n", "channels: {1: tilt}\nlegs:\n", func(l *lift.Lift) any { return l.Channels[0].Name }, "1"},
		{"legs:\n", "crane: {main: {chart: ./charts/a.csv}}\nlegs:\n", func(l *lift.Lift) any { return l.Cranes[0].Chart }, "charts/a.csv"},
		{"to: load.east, length: 2.4 m}", "to: load.east, length: 2.4 m, cell: {channel: E, accuracy: 0.5 % of reading}}", func(l *lift.Lift) any { return *l.Legs[1].Cell.Accuracy }, lift.Accuracy{Share: 0.005, Text: "0.5 % of reading"}},
		{"to: load.east, length: 2.4 m}", "to: load.east, via: [load.west], length: 2.4 m}", func(l *lift.Lift) any { return l.Legs[1].Via[0].String() }, "load.west"},
		{"to: load.east, length: 2.4 m}", "to: load.east, via: load.west, length: 2.4 m}", func(l *lift.Lift) any { return len(l.Legs[1].Via) }, 1},
		// Keys win over what a merge key brings; values can be repeated.
		{"  west: {from: main, to: load.west, length: 2.4 m}", "  west: &leg {from: main, to: load.west, length: &len 2.4 m, wll: 5 t}\n  mid: {<<: *leg, to: load.east, length: *len}", func(l *lift.Lift) any { return l.Legs[1].To.String() + l.Legs[1].WLL.Text + l.Legs[1].Length.Text }, "load.east5 t2.4 m"},
	} {
		t.Run(c.new[:min(len(c.new), 60)], func(t *testing.T) {
			got := c.got(read(t, with(t, c.old, c.new)))
			g, isFloat := got.(float64)
			if w, _ := c.want.(float64); isFloat && near(g, w) {
				return
			}
			if !reflect.DeepEqual(got, c.want) {
				t.Errorf("got %v, want %v", got, c.want)
			}
		})
	}
}

// TestLineEndings: a file saved on another system reads the same, places too.
func TestLineEndings(t *testing.T) {
	unix := read(t, base)
	windows := read(t, "\ufeff"+strings.ReplaceAll(base, "\n", "\r\n"))
	unix.SHA256, windows.SHA256 = "", ""
	if !reflect.DeepEqual(unix, windows) {
		t.Error("the lift differs")
	}
}

// TestColumnsCountCharacters: ± and ° are one column each, whatever they
// take in bytes.
func TestColumnsCountCharacters(t *testing.T) {
	text := with(t, "title: Pump motor out of well 3", "site: {temperature: -10..30 °C, wind: 9 ± 1 parsec}")
	faults := refuse(t, text)
	line := strings.Split(text, "\n")[1]
	want := utf8.RuneCountInString(line[:strings.Index(line, "parsec")]) + 1
	if len(faults) != 1 || faults[0].Pos.Column != want {
		t.Errorf("%v, want column %d", faults, want)
	}
}

func TestStacks(t *testing.T) {
	for _, c := range []struct {
		name, leg string // the leg's own keys
		stack     string
		length    float64 // and its half-width
		half      float64
		shape     quantity.Shape
		mass      float64
		stiffness float64 // 0: none
		fault     fault.Code
	}{
		{name: "plain", stack: "{length: 1 m, mass: 2 kg}, {length: 2 m, mass: 3 kg}", length: 3, mass: 5},
		{name: "in quadrature", stack: "{length: 1 m ± 3 mm}, {length: 2 m ± 4 mm}", length: 3, half: 0.005, shape: quantity.Normal},
		{name: "hard limits", stack: "{length: 0.99..1.01 m}, {length: 1.98..2.02 m}", length: 3, half: 0.03, shape: quantity.Uniform},
		{name: "both", stack: "{length: 0.99..1.01 m}, {length: 2 m ± 3 mm}, {length: 1 m ± 4 mm}", length: 4, half: 0.015, shape: quantity.Normal},
		{name: "in series", stack: "{length: 1 m, stiffness: 3 MN/m}, {length: 2 m, stiffness: 6 MN/m}, {length: 1 m}", length: 4, stiffness: 2e6},
		{name: "same length twice", leg: "length: 3.0008 m", stack: "{length: 1 m}, {length: 2 m}", length: 3},
		{name: "within tolerance", leg: "length: 3.02 m ± 1 %", stack: "{length: 1 m}, {length: 2 m}", length: 3},
		{name: "rounding is not a tolerance of length", leg: "length: 3.0 m", stack: "{length: 1 m}, {length: 2.04 m}", fault: fault.Disagree},
		{name: "two lengths", leg: "length: 3.002 m", stack: "{length: 1 m}, {length: 2 m}", fault: fault.Disagree},
		{name: "length of the whole", leg: "length: 3.4 m", stack: "{length: 1 m}, {kind: shackle}", length: 3.4},
		{name: "part longer than the whole", leg: "length: 3.4 m", stack: "{length: 4 m}, {kind: shackle}", fault: fault.Disagree},
		{name: "one without length", stack: "{length: 4 m}, {kind: shackle}", fault: fault.Missing},
		{name: "two masses", leg: "mass: 9 kg", stack: "{length: 1 m, mass: 2 kg}, {length: 2 m, mass: 3 kg}", fault: fault.Disagree},
		{name: "mass of the whole", leg: "mass: 9 kg", stack: "{length: 1 m, mass: 2 kg}, {length: 2 m}", length: 3, mass: 9},
		{name: "part heavier than the whole", leg: "mass: 1 kg", stack: "{length: 1 m, mass: 2 kg}, {length: 2 m}", fault: fault.Disagree},
		{name: "stiffness of the whole", leg: "stiffness: 2 MN/m", stack: "{length: 1 m}, {length: 2 m}", length: 3, stiffness: 2e6},
		{name: "softer as a whole", leg: "stiffness: 2 MN/m", stack: "{length: 1 m, stiffness: 3 MN/m}, {length: 2 m}", length: 3, stiffness: 2e6},
		{name: "stiffer than a part", leg: "stiffness: 4 MN/m", stack: "{length: 1 m, stiffness: 3 MN/m}, {length: 2 m}", fault: fault.Disagree},
		{name: "two stiffnesses", leg: "stiffness: 3 MN/m", stack: "{length: 1 m, stiffness: 3 MN/m}, {length: 2 m, stiffness: 6 MN/m}", fault: fault.Disagree},
		{name: "same stiffness twice", leg: "stiffness: 2.0 MN/m", stack: "{length: 1 m, stiffness: 3 MN/m}, {length: 2 m, stiffness: 6 MN/m}", length: 3, stiffness: 2e6},
	} {
		t.Run(c.name, func(t *testing.T) {
			stack := strings.ReplaceAll(strings.ReplaceAll(c.stack, "{kind: shackle", "{"), "{", "{kind: x, ")
			stack = strings.ReplaceAll(stack, ", }", "}")
			own := c.leg
			if own != "" {
				own += ", "
			}
			text := with(t, "to: load.east, length: 2.4 m}", "to: load.east, "+own+"stack: ["+stack+"]}")
			if c.fault != "" {
				faults := refuse(t, text)
				if len(faults) != 1 || faults[0].Code != c.fault {
					t.Errorf("%v, want %s", faults, c.fault)
				}
				// Both values are told.
				if _, own, _ := strings.Cut(c.leg, ": "); c.fault == fault.Disagree && !strings.Contains(faults[0].What, own) {
					t.Errorf("%v does not tell %q", faults[0], own)
				}
				return
			}
			l := read(t, text).Legs[1]
			half := float64(l.Length.High-l.Length.Low) / 2
			k := 0.0
			if l.Stiffness != nil {
				k = float64(l.Stiffness.Value)
			}
			if !near(float64(l.Length.Value), c.length) || !near(half, c.half) || l.Length.Shape != c.shape || !near(float64(l.Mass.Value), c.mass) || !near(k, c.stiffness) {
				t.Errorf("length %v ± %v (%v), mass %v, stiffness %v", l.Length.Value, half, l.Length.Shape, l.Mass.Value, k)
			}
		})
	}
}

func TestLoadTwice(t *testing.T) {
	parts := `
  parts:
    - {name: frame, mass: 4100 kg ± 2 %, at: 0 0 1 m}
    - {name: water, mass: 300 kg, at: 0 0 0.5 m, fluid: true}`
	for _, c := range []struct {
		mass, cg, more string
		fault          string // the key, empty when it agrees
	}{
		{"4400 kg", "0 0 0.966 m", "", ""},
		{"4.4 t", "0 0 0.97 m", "", ""},
		{"4 t", "0 0 0.97 m", "", "load.mass"},
		{"4400 kg", "0 0 0.966 m", "contingency: 10 %", ""},
		{"4100 kg", "0 0 1 m", "wet: false", ""},
		{"4475 kg", "0 0 0.966 m", "", ""}, // within 2 % of the frame
		{"4500 kg", "0 0 0.966 m", "", "load.mass"},
		{"4500 kg ± 3 %", "0 0 0.966 m", "", ""},
		{"9700 lb", "0 0 0.966 m", "", ""},
		{"9900 lb", "0 0 0.966 m", "", "load.mass"},
		{"4400 kg", "0 0 0.98 m", "", "load.cg"},
		{"4400 kg", "0 0 0.98 m ± 20 mm", "", ""},
		{"4400 kg", "0.01 0 0.966 m", "", "load.cg"},
	} {
		text := with(t, "mass: 4400 kg ± 3 %", "mass: "+c.mass+parts+"\n  "+c.more, "cg: 0.05 0 0.9 m ± 20 mm", "cg: "+c.cg)
		l, err := lift.Read("test.yaml", nil, []byte(text))
		if c.fault == "" {
			if err != nil {
				t.Errorf("%+v: %v", c, err)
			} else if l.Load.Sheet.Direct || len(l.Load.Sheet.Parts) != 2 {
				t.Errorf("%+v: the parts do not count: %+v", c, l.Load.Sheet)
			}
			continue
		}
		faults := fault.Of(err)
		if len(faults) != 1 || faults[0].Code != fault.Disagree || faults[0].Where != c.fault {
			t.Errorf("%+v: %v", c, err)
			continue
		}
		if given := strings.Fields(c.mass)[0]; c.fault == "load.mass" && !strings.Contains(faults[0].What, given) {
			t.Errorf("%v does not tell %s", faults[0], given)
		}
	}
}

func TestLeastTopAngle(t *testing.T) {
	for text, want := range map[string]float64{
		"60 deg from horizontal": 60, "30 deg from vertical": 60, "60 deg included": 60, "45 deg from the vertical": 45,
	} {
		l := read(t, with(t, "legs:\n  west: {from: main, to: load.west, length: 2.4 m}", `spreaders:
  bar: {mass: 90 kg, cg: 0 0 0 m, least_top_angle: `+text+`, points: {top: 0 0 0 m, low: 0 0 -0.1 m}}
legs:
  up: {from: main, to: bar.top, length: 1 m}
  west: {from: bar.low, to: load.west, length: 2.4 m}`))
		if got := float64(l.Spreaders[0].LeastTopAngle.Value) * 180 / math.Pi; !near(got, want) {
			t.Errorf("%s: %v deg from horizontal, want %v", text, got, want)
		}
	}
}

// TestMigration: a draft file gives the same lift as the same file in the
// form of today, and its faults point at what the draft says.
func TestMigration(t *testing.T) {
	bar := func(points string) string {
		return `spreaders:
  bar: {mass: 90 kg, cg: 0 0 0 m, ` + points + `: {top: 0 0 0 m, low: 0 0 -0.1 m}}
legs:
  up: {from: main, to: bar.top, length: 1 m}
  mid: {from: bar.low, to: load.west, length: 2.4 m}`
	}
	draft := read(t, with(t, "plumbhook: 1", "plumbhook: 0", "title: Pump motor out of well 3", "gravity: 9.81 m/s2", "legs:", bar("lugs")))
	today := read(t, with(t, "title: Pump motor out of well 3", "site: {g: 9.81 m/s2}", "legs:", bar("points")))
	if got, want := fmt.Sprintf("%+v", stripped(draft)), fmt.Sprintf("%+v", stripped(today)); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	if draft.Version != 1 || float64(draft.Site.G.Value) != 9.81 || draft.Spreaders[0].Points[1].Name != "low" {
		t.Error("the migration did nothing")
	}
	faults := refuse(t, with(t, "plumbhook: 1", "plumbhook: 0", "title: Pump motor out of well 3", "gravity: 9.81"))
	if len(faults) != 1 || faults[0].Code != fault.NoUnit || faults[0].Pos.Line != 2 || faults[0].Pos.Column != 10 {
		t.Error(faults)
	}
	if faults := refuse(t, with(t, "title: Pump motor out of well 3", "gravity: 9.81 m/s2")); faults[0].Code != fault.UnknownKey {
		t.Error("today's form has no gravity at the top:", faults)
	}
}

// stripped leaves out what differs by place only.
func stripped(l *lift.Lift) any {
	c := struct {
		Site      lift.Site
		Hooks     []lift.Hook
		Spreaders []lift.Spreader
		Legs      []string
	}{Site: l.Site, Hooks: l.Hooks, Spreaders: l.Spreaders}
	for i := range c.Hooks {
		c.Hooks[i].Pos = fault.Pos{}
		c.Hooks[i].WLL = nil
	}
	for i := range c.Spreaders {
		c.Spreaders[i].Pos = fault.Pos{}
		for j := range c.Spreaders[i].Points {
			c.Spreaders[i].Points[j].Pos = fault.Pos{}
		}
	}
	for _, g := range l.Legs {
		c.Legs = append(c.Legs, g.Name, g.From.String(), g.To.String(), g.Length.Text)
	}
	return c
}

func TestMesh(t *testing.T) {
	mesh := func(file, unit string) string {
		return with(t, "  mass: 4400 kg ± 3 %\n  cg: 0.05 0 0.9 m ± 20 mm\n",
			"  parts: [{name: block, mesh: {file: "+file+", unit: "+unit+"}, density: 7850 kg/m3, at: 1 0 0 m}]\n")
	}
	// The cube has a side of 2 units: (0.1 m)³ of steel, centred 0.05 m from its corner.
	p := read(t, mesh("cube.obj", "50 mm")).Load.Sheet.Parts[0]
	if at := p.At.XYZ(); !near(float64(p.Mass.Value), 7.85) || !near(at[0], 1.05) || !near(at[2], 0.05) {
		t.Errorf("%v kg at %v", p.Mass.Value, at)
	}
	if p := read(t, mesh("cube.obj", "in")).Load.Sheet.Parts[0]; !near(float64(p.Mass.Value), 7850*math.Pow(2*0.0254, 3)) {
		t.Errorf("%v kg", p.Mass.Value)
	}

	dir := t.TempDir()
	cube, err := os.ReadFile("testdata/cube.obj")
	if err != nil {
		t.Fatal(err)
	}
	outside := filepath.Join(dir, "outside.obj")
	folder := filepath.Join(dir, "lifts")
	for _, err := range []error{
		os.Mkdir(folder, 0o755), os.WriteFile(outside, cube, 0o644),
		os.Symlink(outside, filepath.Join(folder, "link.obj")), os.WriteFile(filepath.Join(folder, "cube.obj"), cube, 0o644),
	} {
		if err != nil {
			t.Fatal(err)
		}
	}
	root, err := os.OpenRoot(folder)
	if err != nil {
		t.Fatal(err)
	}
	defer root.Close()
	if _, err := lift.Read("test.yaml", root.FS(), []byte(mesh("cube.obj", "mm"))); err != nil {
		t.Error(err)
	}
	for _, file := range []string{"link.obj", "../outside.obj", outside, "gone.obj", ".", `..\outside.obj`} {
		_, err := lift.Read("test.yaml", root.FS(), []byte(mesh("'"+file+"'", "mm")))
		if f := fault.Of(err); len(f) != 1 || f[0].Code != fault.Path || f[0].Where != "load.parts[1].mesh.file" {
			t.Errorf("%s: %v", file, err)
		}
	}
	if _, err := lift.Read("test.yaml", nil, []byte(mesh("cube.obj", "mm"))); len(fault.Of(err)) != 1 {
		t.Error(err)
	}

	huge := fstest.MapFS{"huge.obj": {Data: make([]byte, 40<<20)}}
	text := strings.Replace(mesh("huge.obj", "mm"), "parts: [", "parts: [{mesh: {file: huge.obj, unit: mm}, density: 1 kg/m3, at: 0 0 0 m}, ", 1)
	_, err = lift.Read("test.yaml", huge, []byte(text))
	if f := fault.Of(err); len(f) != 2 || f[1].Code != fault.TooLarge {
		t.Error(err)
	}
}

// TestBounds: what would choke the program is refused, quickly enough to be
// a test.
func TestBounds(t *testing.T) {
	laugh := "a0: &a0 [x, x, x, x, x, x, x, x]\n"
	for i := 1; i < 12; i++ {
		laugh += fmt.Sprintf("a%d: &a%d [*a%d, *a%d, *a%d, *a%d, *a%d, *a%d]\n", i, i, i-1, i-1, i-1, i-1, i-1, i-1)
	}
	for name, text := range map[string]string{
		"bytes":   base + strings.Repeat("# filler\n", 1<<15),
		"tokens":  "a: [" + strings.Repeat("1,", 60_000) + "1]",
		"keys":    strings.Repeat("a:\n", 6_000),
		"flow":    strings.Repeat("[", 1_000),
		"dashes":  strings.Repeat("- ", 1_000),
		"aliases": laugh,
	} {
		found := false
		for _, f := range refuse(t, text) {
			found = found || f.Code == fault.TooLarge
		}
		if !found {
			t.Errorf("%s: not called too large", name)
		}
	}
	many := base
	for i := range 2_000 {
		many += fmt.Sprintf("x%d: 1\n", i)
	}
	if faults := refuse(t, many); len(faults) > 501 || faults[len(faults)-1].Code != fault.TooLarge {
		t.Errorf("%d faults", len(faults))
	}
	for _, text := range []string{"", "\x00", "a: \xff", "&a [*a]", "? [a, b]\n: c", "- 1", "a: b\n---\nc: d", "\ufeff"} {
		refuse(t, text)
	}
}
