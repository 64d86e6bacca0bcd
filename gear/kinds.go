package gear

import (
	"slices"
	"strings"

	"plumbhook/fault"
)

// Kind is a kind of gear and the facts that may be said of it.
type Kind struct {
	Name   string
	Doc    string
	Also   []string // further names the trade has for it
	Facts  []Fact
	Tables []string // names of the tables with generic ratings; without any, only the tag rates it
}

// Fact is one thing that may be said of a piece.
type Fact struct {
	Key      string
	Reads    Reads
	Allowed  []string // the words, where it reads a Word; for a Text, words that mean something here
	Required bool
	Doc      string
	Example  string
}

// Reads is what the text of a fact is read as.
type Reads string

// What facts are read as.
const (
	ReadText      Reads = "text"      // kept as written
	ReadWord      Reads = "word"      // one of the allowed words
	ReadYesNo     Reads = "yes or no" //
	ReadRating    Reads = "rating"    // 6.5 short ton, 50 kN
	ReadLength    Reads = "length"    // 7/8 in, 22 mm; with a spread where wanted
	ReadMass      Reads = "mass"      //
	ReadStiffness Reads = "stiffness" //
	ReadAngle     Reads = "angle"     // with what it is measured from
	ReadAccuracy  Reads = "accuracy"  // 0.1 % fs, 0.5 % of reading
	ReadOverload  Reads = "overload"  // a rating, or 150 % of capacity
	ReadRate      Reads = "rate"      // 10 Hz
	ReadDate      Reads = "date"      // 2026-03-31
)

// Kinds describes every kind that Look knows, in the order of a stack from the
// hook down.
func Kinds() []Kind { return kinds() }

// The words of the trade for materials and terminations.
const (
	polyester     = "polyester"
	polyamide     = "polyamide"
	polypropylene = "polypropylene"
	natural       = "natural"
	handTucked    = "hand tucked"
	hiddenTuck    = "hidden tuck"
	mechanical    = "mechanical"
	steelFerrule  = "steel ferrule"
	lightFerrule  = "aluminium ferrule"
	socket        = "socket"
	eyeAndEye     = "eye and eye"
	endless       = "endless"
)

var kinds = func() func() []Kind {
	all := []Kind{
		{
			Name: "master link", Also: []string{"masterlink", "master ring", "pear link"}, Doc: "The ring or long link that legs hang from.",
			Facts: facts(text("size", "Size as marked.", "22 mm"), text("grade", "Grade as marked.", "8"),
				length("diameter", "Diameter of its bar.", "22 mm"), length("inside", "Clear width inside it.", "110 mm")),
		},
		{
			Name: "bow shackle", Also: []string{"anchor shackle"}, Doc: "A shackle with a round bow.",
			Facts: facts(shackleFacts...), Tables: []string{"1917 C-3", "RR-C-271 series"},
		},
		{
			Name: "dee shackle", Also: []string{"d shackle", "chain shackle"}, Doc: "A shackle with straight sides.",
			Facts: facts(shackleFacts...), Tables: []string{"1917 C-3", "RR-C-271 series", "LR 8.5.1"},
		},
		{
			Name: "load cell", Also: []string{"loadcell", "dynamometer"}, Doc: "A load cell that hangs between two pins.",
			Facts: facts(
				need(Fact{Key: "capacity", Reads: ReadRating, Doc: "Full scale of the cell. It rates the cell where no wll is given.", Example: "6.5 t"}),
				Fact{Key: "accuracy", Reads: ReadAccuracy, Doc: "Hard limit of the cell's error, of full scale or of reading.", Example: "0.1 % fs"},
				Fact{Key: "safe_overload", Reads: ReadOverload, Doc: "Largest load that does it no lasting harm.", Example: "150 % of capacity"},
				length("pin", "Diameter of the pin that it demands; a range where its data give one.", "25 mm"),
				length("hole", "Diameter of its pin holes.", "26 mm"),
				length("thickness", "Thickness at its pin holes.", "25 mm"),
				length("jaw", "Clear width between its cheeks, for a cell with forks.", "30 mm"),
				text("protection", "Protection rating.", "IP67"),
				length("radio_range", "Range of its radio in the open.", "700 m"),
				Fact{Key: "rate", Reads: ReadRate, Doc: "How often it is read.", Example: "10 Hz"},
				Fact{Key: "holds_peaks", Reads: ReadYesNo, Doc: "Whether it keeps the highest load.", Example: "yes"},
				Fact{Key: "calibrated", Reads: ReadDate, Doc: "Date of its calibration.", Example: "2026-03-31"},
			),
		},
		{
			Name: "alloy chain sling", Also: []string{"chain sling", "alloy chain"}, Doc: "One leg of chain, without its links and hooks: those are entries of their own.",
			Facts: facts(slingFacts(
				word("grade", "Grade of the chain.", "80", "4", "8", "80", "10", "100"),
				length("size", "Nominal size of the chain.", "3/8 in"),
				length("diameter", "The same as size.", "10 mm"), tableFact)...),
			Tables: []string{"OSHA guidance 1", "OSHA guidance 2", "1918 4A", "EN 818-3"},
		},
		{
			Name: "wire rope sling", Also: []string{"wire sling", "wire rope"}, Doc: "One leg of wire rope with an eye or socket at each end.",
			Facts: facts(slingFacts(
				text("rope", "Construction, grade and core.", "6x19 EIPS IWRC"),
				text("grade", "Grade of the rope, if it does not stand in rope.", "EIPS"),
				length("diameter", "Diameter of the rope.", "3/4 in"), length("size", "The same as diameter.", "3/4 in"),
				word("splice", "How the eyes are made. Mechanical is any pressed sleeve.", mechanical, handTucked, hiddenTuck, mechanical, steelFerrule, lightFerrule, socket),
				endsFact, length("thimble", "Diameter of the curve its thimble bears on.", "60 mm"), tableFact)...),
			Tables: []string{"1918 IPS FC", "1918 IPS IWRC", "1918 EIPS IWRC", isoRope},
		},
		{
			Name: "wire rope grommet", Also: []string{"grommet"}, Doc: "An endless sling of wire rope; length is bearing to bearing, half way round.",
			Facts: facts(slingFacts(text("rope", "Construction, grade and core of the rope it is laid from.", "6x19 EIPS IWRC"),
				length("diameter", "Diameter of the finished body.", "40 mm"))...),
		},
		{
			Name: "web sling", Also: []string{"flat web sling", "webbing sling"}, Doc: "A flat woven web.",
			Facts: facts(slingFacts(material(polyester, polyamide, polypropylene),
				length("width", "Width of the web where it bears.", "50 mm"), text("ply", "Number of plies.", "2"), colourFact)...),
		},
		{
			Name: "round sling", Also: []string{"roundsling"}, Doc: "An endless yarn in a cover; length is bearing to bearing.",
			Facts: facts(slingFacts(material(polyester, polyamide, polypropylene),
				length("width", "Width it takes up under load where it bears.", "60 mm"), colourFact)...),
		},
		{
			Name: "fibre rope sling", Also: []string{"fiber rope sling"}, Doc: "A sling of fibre rope.",
			Facts: facts(slingFacts(material(natural, polypropylene, polyester, polyamide),
				word("construction", "Two eyes, or endless.", eyeAndEye, eyeAndEye, endless),
				length("diameter", "Diameter of the rope.", "3/4 in"), length("size", "The same as diameter.", "3/4 in"),
				endsFact, length("thimble", "Diameter of the curve its thimble bears on.", "60 mm"), tableFact)...),
			Tables: []string{"1918 2", "1918 3A", "1918 3B"},
		},
		{
			Name: "sling hook", Also: []string{"hook", "eye hook"}, Doc: "A hook at the end of a sling.",
			Facts: facts(text("size", "Size as marked.", "10 mm"), text("grade", "Grade as marked.", "8"),
				length("throat", "Opening of the hook, latch counted.", "27 mm"), length("bar", "Thickness of the hook where the load bears.", "20 mm"),
				length("hole", "Diameter of its eye.", "26 mm"), length("thickness", "Thickness of its eye.", "11 mm")),
		},
		{
			Name: "turnbuckle", Also: []string{"rigging screw", "bottle screw"}, Doc: "A length-adjusting screw.",
			Facts: facts(text("size", "Thread, as marked.", "1 in"), word("ends", "How it takes hold at both ends.", "jaw", "jaw", "eye", "hook"),
				length("pin", "Diameter of the pin in its jaw.", "22 mm"), length("jaw", "Clear width of its jaw.", "27 mm"),
				length("hole", "Diameter of its eye.", "26 mm"), length("thickness", "Thickness of its eye.", "20 mm"), length("throat", "Opening of its hook.", "27 mm")),
		},
		{
			Name: "beam clamp", Also: []string{"girder clamp"}, Doc: "A clamp on a beam's flange.",
			Facts: facts(text("size", "Size as marked.", "3 t"), length("hole", "Diameter of its eye.", "26 mm"), length("thickness", "Thickness of its eye.", "20 mm"),
				length("pin", "Diameter of its pin.", "22 mm"), length("jaw", "Clear width over its pin.", "30 mm")),
		},
		{
			Name: "spreader", Also: []string{"spreader bar", "lifting beam"}, Doc: "A bar or frame that keeps legs apart.",
			Facts: facts(text("size", "Size as marked.", "4 m"), length("hole", "Diameter of its holes.", "30 mm"), length("thickness", "Thickness at its holes.", "25 mm"),
				Fact{Key: "least_top_angle", Reads: ReadAngle, Doc: "Flattest angle of the top legs that it is rated for.", Example: "60 deg from horizontal"}),
		},
		{
			Name: "swivel ring", Also: []string{"swivel hoist ring", "hoist ring"}, Doc: "A ring bolted to the load that turns and swings.",
			Facts: facts(text("size", "Thread, as marked.", "M20"), length("hole", "Clear width inside the ring.", "40 mm"), length("thickness", "Diameter of the ring's bar.", "16 mm")),
		},
		{
			Name: "plain eye bolt", Also: []string{"plain eyebolt"}, Doc: "An eye bolt without a shoulder: for a pull along its shank alone.",
			Facts: facts(eyeBoltFacts...),
		},
		{
			Name: "shoulder eye bolt", Also: []string{"shoulder eyebolt", "collar eye bolt", "collar eyebolt"}, Doc: "An eye bolt with a shoulder that seats on the load.",
			Facts: facts(eyeBoltFacts...),
		},
		{
			Name: "plate", Also: []string{"padeye", "pad eye", "lug plate"}, Doc: "A plate with a pin hole: a padeye or lifting lug.",
			Facts: facts(length("hole", "Diameter of the pin hole.", "30 mm"), length("thickness", "Thickness at the pin hole, cheek plates counted.", "30 mm")),
		},
	}
	for i := range all {
		for j, f := range all[i].Facts {
			if f.Key == "table" {
				all[i].Facts[j].Allowed, all[i].Facts[j].Example = all[i].Tables, all[i].Tables[0]
			}
		}
	}
	return func() []Kind { return slices.Clone(all) }
}()

// facts puts what may be said of any piece before and after what is its own.
func facts(own ...Fact) []Fact {
	all := []Fact{
		text("serial", "Serial of the item.", "KP-0117"),
		{Key: "wll", Reads: ReadRating, Doc: "Working load limit off the tag, in a straight pull. It goes before every table.", Example: "6.5 short ton"},
		length("length", "Unloaded length, bearing to bearing.", "2.4 m ± 0.5 %"),
		{Key: "mass", Reads: ReadMass, Doc: "Mass of the item.", Example: "4 kg"},
		{Key: "stiffness", Reads: ReadStiffness, Doc: "Force per stretch of the item.", Example: "7.6 MN/m ± 15 %"},
	}
	all = append(all, own...)
	for _, f := range []Fact{text("class", "Class in its standard.", "A"), text("material", "What it is made of.", "steel")} {
		if !slices.ContainsFunc(all, func(g Fact) bool { return g.Key == f.Key }) {
			all = append(all, f)
		}
	}
	return all
}

func slingFacts(own ...Fact) []Fact {
	return append(own,
		Fact{Key: "choker_wll", Reads: ReadRating, Doc: "Rating in a choker hitch off the tag.", Example: "4.2 short ton"},
		Fact{Key: "basket_wll", Reads: ReadRating, Doc: "Rating in a basket with vertical legs off the tag.", Example: "11 short ton"})
}

var shackleFacts = []Fact{
	text("grade", "Grade of its table: A or B; mild or higher tensile.", "A", "A", "B", "mild", "higher tensile"),
	length("size", "Diameter of the bow's bar.", "7/8 in"),
	length("pin", "Diameter of its pin.", "25 mm"),
	word("pin_type", "How the pin is held.", "bolt", "screw", "bolt", "round"),
	length("jaw", "Clear width between the cheeks at the pin.", "37 mm"),
	length("inside", "Clear width inside the bow.", "58 mm"),
	word("up", "Which end is above. Without it the pin is taken to go through whatever has a hole.", "bow", "bow", "pin"),
	tableFact,
}

var eyeBoltFacts = []Fact{
	text("size", "Thread, as marked.", "M20"), length("hole", "Clear width inside the eye.", "40 mm"),
	length("thickness", "Thickness of the eye.", "19 mm"),
}

var (
	tableFact  = text("table", "Table of generic ratings, where there is no tag to go by.", "")
	endsFact   = word("ends", "How it takes hold at both ends.", "soft eye", "soft eye", "thimble", "socket")
	colourFact = text("colour", "Colour of the sling. A note, never a rating.", "violet")
)

func text(key, doc, example string, allowed ...string) Fact {
	return Fact{Key: key, Reads: ReadText, Doc: doc, Example: example, Allowed: allowed}
}

func word(key, doc, example string, allowed ...string) Fact {
	return Fact{Key: key, Reads: ReadWord, Doc: doc, Example: example, Allowed: allowed}
}

func length(key, doc, example string) Fact {
	return Fact{Key: key, Reads: ReadLength, Doc: doc, Example: example}
}

func material(words ...string) Fact {
	return word("material", "What it is made of.", words[0], words...)
}

func need(f Fact) Fact {
	f.Required = true
	return f
}

// plainWords puts the ways of writing one word into one form.
func plainWords(s string) string {
	s = strings.Map(func(r rune) rune {
		if r == '-' || r == '_' {
			return ' '
		}
		return r
	}, strings.ToLower(s))
	return strings.Join(strings.Fields(s), " ")
}

// kindOf finds a kind by its name or another the trade has for it.
func kindOf(name string) (Kind, *fault.Fault) {
	asked := plainWords(name)
	var near, all []string
	for _, k := range kinds() {
		if k.Name == asked || slices.Contains(k.Also, asked) {
			return k, nil
		}
		all = append(all, k.Name)
		if asked != "" && slices.ContainsFunc(append([]string{k.Name}, k.Also...), func(n string) bool { return strings.HasSuffix(n, " "+asked) }) {
			near = append(near, k.Name)
		}
	}
	if bolt := strings.ReplaceAll(asked, "eyebolt", "eye bolt"); bolt == "eye bolt" {
		near = []string{"plain eye bolt", "shoulder eye bolt"}
	}
	if len(near) > 0 {
		return Kind{}, fault.New(fault.Ambiguous, "%q can be several kinds of gear", name).Fix("write %s", either(near))
	}
	if asked == "" {
		return Kind{}, fault.New(fault.Missing, "nothing says what this is").Fix("give its kind: %s", either(all))
	}
	return Kind{}, fault.New(fault.Reference, "%s is no kind of gear that is known here", quoted(name)).Fix("write %s", either(all))
}

// Names lists every name that a kind of gear goes by.
func Names() []string {
	all := []string{"eye bolt", "eyebolt"} // of two kinds
	for _, k := range kinds() {
		all = append(append(all, k.Name), k.Also...)
	}
	return all
}

// Alike tells whether two names stand for one kind of gear. Names that the
// catalogue does not know are alike when they are the same words.
func Alike(a, b string) bool {
	one, bad := kindOf(a)
	other, worse := kindOf(b)
	if bad != nil || worse != nil {
		return plainWords(a) == plainWords(b)
	}
	return one.Name == other.Name
}

// fact finds a fact of the kind by its key.
func (k Kind) fact(key string) (Fact, bool) {
	i := slices.IndexFunc(k.Facts, func(f Fact) bool { return f.Key == key })
	if i < 0 {
		return Fact{}, false
	}
	return k.Facts[i], true
}

// either writes choices: a, b or c.
func either(all []string) string {
	if len(all) < 2 {
		return strings.Join(all, "")
	}
	return strings.Join(all[:len(all)-1], ", ") + " or " + all[len(all)-1]
}

// a puts the article before a kind.
func a(name string) string {
	if strings.ContainsRune("aeiou", rune(name[0])) {
		return "an " + name
	}
	return "a " + name
}
