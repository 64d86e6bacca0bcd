package crane

// Rule is what one authority says about a share of capacity or a joint lift.
// It is met when one of its cases is.
type Rule struct {
	Name     string // stable
	Source   string
	Standing Standing
	Severity Severity
	Says     string
	Cases    []Case
}

// Case is one condition; all that it names must be true.
type Case struct {
	Share   float64 // of capacity: above it; zero: whatever the share
	Reached bool    // at Share already
	OfLine  bool    // Share is of the largest line pull

	Cranes     int // at least so many on the load
	People     bool
	Floating   bool
	Travelling bool
	Beyond     float64 // radius above this part of the largest
}

// ratedCapacity names the rule of the chart itself.
const ratedCapacity = "rated-capacity"

// The rules that turn on shares of capacity and on the number of machines.
// None is the rule everywhere: a plan says which authority it follows.
// Authorities name further reasons for a critical lift (view, power lines,
// a centre of gravity that moves ...), which a chart does not know of.
const (
	critical       = "this authority counts it as a critical lift"
	steelErection  = "29 CFR 1926.751, definition of critical lift, steel erection; as quoted in a trade article"
	form163        = "US Army Corps of Engineers Form 16-3, critical lift plan (EM 385-1-1 section 16)"
	em385          = "EM 385-1-1, critical lift plan; as excerpted in a trade magazine"
	british        = "British Columbia OHS Regulation, Part 14, 14.1, definition of critical lift"
	newZealand     = "technical page on critical lifts of the crane association of New Zealand"
	navy           = "NAVFAC P-307, section 10, complex lift"
	queenslandCode = "Queensland Mobile Crane Code of Practice 2006"
)

// Rules holds them in the order in which they are told.
var Rules = []Rule{
	{
		ratedCapacity, "the crane's chart; 29 CFR 1910.180(h)(1): not beyond rated capacity but in a test", Read, Stop,
		"beyond the chart",
		[]Case{{Share: 1}},
	},
	{
		"line-pull", "the largest line pull that the crane's data permit", Stated, Stop,
		"the hoist rope would be overloaded",
		[]Case{{Share: 1, OfLine: true}},
	},
	{
		"people-half-capacity", "WAC 296-155-55115(4)(c); 29 CFR 1926.1431", Read, Stop,
		"people may hang on no more than half of the rated capacity",
		[]Case{{Share: 0.5, People: true}},
	},
	{
		"verify-weight", "29 CFR 1926.1417(o)(3)", FromMemory, Note,
		"the weight has to be verified and the operator told before the lift",
		[]Case{{Share: 0.75}},
	},
	{
		"brake-test", "29 CFR 1926.1417(q)", FromMemory, Note,
		"test the brakes by raising the load a few inches and holding it",
		[]Case{{Share: 0.9, Reached: true, OfLine: true}},
	},

	{"critical-us-steel-erection", steelErection, Read, Note, critical, []Case{{Share: 0.75}, {Cranes: 2}}},
	{"critical-us-army-engineers-form", form163, Read, Note, critical, []Case{{Share: 0.75}, {Cranes: 2}, {People: true}}},
	{"critical-us-army-engineers-manual", em385, Read, Note, critical, []Case{{Cranes: 2}, {People: true}}},
	{"critical-british-columbia", british, Read, Note, critical, []Case{
		{Share: 0.9, Beyond: 0.5},
		{Share: 0.75, Cranes: 2},
		{Cranes: 3},
		{Share: 0.9, Floating: true},
		{People: true},
	}},
	{"critical-new-zealand", newZealand, Read, Note, critical, []Case{{Share: 0.75, Reached: true}, {Cranes: 2}, {People: true}}},
	{"complex-us-navy", navy, FromMemory, Note, "this authority counts it as a complex lift", []Case{
		{Share: 0.8},
		{Share: 0.5, Floating: true},
		{People: true},
	}},

	{
		"several-cranes-directed", "29 CFR 1926.1432", Read, Note,
		"a qualified person plans it, with an engineer where needed; a competent and qualified lift director leads it and goes over the plan with everyone",
		[]Case{{Cranes: 2}},
	},
	{
		"several-cranes-indicators", queenslandCode + ", 14.3.1", Read, Note,
		"every crane has a load indicator; take cranes of equal capacity and kind where practicable",
		[]Case{{Cranes: 2}},
	},
	{
		"several-cranes-army", "TM 5-3810-302-10, US Army crane manual", Read, Note,
		"not recommended; if it must be, an engineer directs, one signaller, cranes and boom lengths alike, outriggers set",
		[]Case{{Cranes: 2}},
	},
	{
		"several-cranes-travelling", "GL Noble Denton 0027/ND Rev 11.2, 13.7.4", Read, Caution,
		"read radius and capacity with the hoist lines as far out of plumb as they may come",
		[]Case{{Cranes: 2, Travelling: true}},
	},
	{
		"three-cranes-study", "GL Noble Denton 0027/ND Rev 11.2, 13.3.2 and 13.5.2", Read, Caution,
		"find the extreme load on each crane from supports, flexibility, procedure and monitoring, with a sensitivity study",
		[]Case{{Cranes: 3}},
	},
}
