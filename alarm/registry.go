package alarm

// Severity says what the crew has to do.
type Severity string

// Stop: stop now, and go on only once a named person says so. Caution: look.
const (
	Stop    Severity = "stop"
	Caution Severity = "caution"
)

// Kind is the stable name of an alarm.
type Kind string

// The kinds, by what they guard.
const (
	// Forces.
	TotalStop Kind = "total_stop"
	TotalWarn Kind = "total_warn"
	LegStop   Kind = "leg_stop"
	LegWarn   Kind = "leg_warn"
	PartStop  Kind = "part_stop"
	HookStop  Kind = "hook_stop"
	HookWarn  Kind = "hook_warn"
	Running   Kind = "running_to_limit"
	// Against the plan.
	AbovePlan    Kind = "above_plan"
	FarAbovePlan Kind = "far_above_plan"
	NotFree      Kind = "not_proved_free"
	HeldDown     Kind = "held_down"
	SlackLeg     Kind = "slack_leg"
	ShareOff     Kind = "share_off_plan"
	TiltOver     Kind = "tilt"
	SidePull     Kind = "side_pull"
	// Motion.
	Shock    Kind = "shock"
	Swinging Kind = "swing"
	Unsteady Kind = "unsteady"
	Gust     Kind = "gust"
	// Readings.
	Stale      Kind = "stale"
	Lost       Kind = "lost"
	Frozen     Kind = "frozen"
	OutOfRange Kind = "out_of_range"
	WrongUnit  Kind = "unit_suspect"
	ZeroOff    Kind = "zero_suspect"
	TareLoaded Kind = "tared_under_load"
	Garbled    Kind = "garbled"
	Battery    Kind = "battery_low"
	Radio      Kind = "radio_weak"
	// The watch itself.
	Recording Kind = "recording_at_risk"
	WasAway   Kind = "was_away"
	Unseen    Kind = "past_limit_unseen"
	Called    Kind = "hold_called"
)

// Spec is all there is to know of a kind.
type Spec struct {
	Kind     Kind
	Severity Severity
	Title    string
	// Ground and Air say what to do with the load on the ground, and in the
	// air.
	Ground, Air string
	// On and Off are how long the condition must last before the alarm is
	// raised, and be gone before a caution clears, s.
	On, Off float64
	// Back is how far below its limit a force has to fall before the
	// condition counts as gone, as a share of the limit.
	Back float64
	// Force: value and limit are forces, N.
	Force bool
	// Once alarms are of something that happened: they are raised by it and
	// are gone at once.
	Once bool
	// Mutes are kinds at the same place that say nothing while this one is
	// raised, because this one is their cause or says the same louder.
	Mutes []Kind
}

const (
	land    = "Stop. Keep clear. Land it under control."
	slacken = "Stop. Slack off."
	look    = "Look before going on."
)

// Registry is every kind of alarm there is, worst first. Delays of overload
// are short because a load rises within a second or two (EEMUA and ISA delays
// of many seconds are for processes); a single reading is never enough where
// readings come quickly. The figures are common practice, no source.
var Registry = []Spec{
	{Kind: PartStop, Severity: Stop, Force: true, Title: "A part is past its rating", Ground: slacken, Air: land, On: 0.05, Back: 0.02, Mutes: []Kind{LegStop, LegWarn, Running, AbovePlan}},
	{Kind: TotalStop, Severity: Stop, Force: true, Title: "Total past the stop limit", Ground: slacken, Air: land, On: 0.05, Back: 0.02, Mutes: []Kind{TotalWarn, AbovePlan}},
	{Kind: HookStop, Severity: Stop, Force: true, Title: "Hook past its limit", Ground: slacken, Air: land + " Neither crane takes load off the other by itself.", On: 0.05, Back: 0.02, Mutes: []Kind{HookWarn}},
	{Kind: LegStop, Severity: Stop, Force: true, Title: "Leg past its stop limit", Ground: slacken, Air: land, On: 0.05, Back: 0.02, Mutes: []Kind{LegWarn, Running}},
	{Kind: Running, Severity: Stop, Force: true, Title: "Running into a limit", Ground: slacken, Air: land, On: 0.1, Back: 0.02},
	{Kind: FarAbovePlan, Severity: Stop, Force: true, Title: "Far heavier than planned, or held down", Ground: slacken + " Find what holds it, or weigh it again.", Air: land + " The plan no longer holds.", On: 0.6, Back: 0.01, Mutes: []Kind{AbovePlan}},
	{Kind: HeldDown, Severity: Stop, Force: true, Title: "The load is held down", Ground: slacken + " Find what holds it: bolt, pipe, suction.", Air: land, On: 0.5},
	{Kind: SlackLeg, Severity: Stop, Force: true, Title: "A leg is slack", Ground: slacken + " Rig again: another leg carries its share.", Air: land, On: 1, Off: 1},
	{Kind: TiltOver, Severity: Stop, Title: "Tilt past its limit", Ground: slacken, Air: land, On: 0.5, Off: 1, Back: 0.05},
	{Kind: Shock, Severity: Stop, Force: true, Title: "Shock", Ground: slacken + " Look at the gear.", Air: land + " Look at the gear.", Once: true},
	{Kind: Unseen, Severity: Stop, Force: true, Title: "Was past a limit unseen", Ground: slacken + " Look at the gear.", Air: land + " Look at the gear.", Once: true},
	{Kind: Lost, Severity: Stop, Title: "No reading from a cell under load", Ground: slacken, Air: "Stop. This leg is blind. Land under control or restore the reading.", Off: 1, Mutes: []Kind{Stale, Frozen}},
	{Kind: WrongUnit, Severity: Stop, Title: "Readings look like another unit", Ground: slacken + " Check the unit of readout and channel.", Air: land, On: 2, Off: 1},
	{Kind: TareLoaded, Severity: Stop, Title: "Zeroed under load", Ground: slacken + " Zero again with the legs slack.", Air: land + " What it shows is less than what it carries.", Once: true},
	{Kind: Called, Severity: Stop, Title: "Hold called", Ground: "Stop. Wait for the person in charge.", Air: "Stop. Wait for the person in charge.", Once: true},
	{Kind: TotalWarn, Severity: Caution, Force: true, Title: "Total past the warning limit", Ground: look, Air: look, On: 0.1, Off: 1, Back: 0.01},
	{Kind: HookWarn, Severity: Caution, Force: true, Title: "Hook past its warning limit", Ground: look, Air: look, On: 0.1, Off: 1, Back: 0.01},
	{Kind: LegWarn, Severity: Caution, Force: true, Title: "Leg past its warning limit", Ground: look, Air: look, On: 0.1, Off: 1, Back: 0.01},
	{Kind: AbovePlan, Severity: Caution, Force: true, Title: "Heavier than planned", Ground: "Stop and look: weight, or something holds it.", Air: "Hold still and look at the numbers.", On: 1, Off: 1, Back: 0.005},
	{Kind: NotFree, Severity: Caution, Force: true, Title: "Not proved free", Ground: "Do not lift on. Look for daylight all round and say so.", Air: "Look for daylight all round and say so.", On: 1, Off: 0.5},
	{Kind: ShareOff, Severity: Caution, Force: true, Title: "Legs share otherwise than planned", Ground: "Look at lengths, hooks and cells.", Air: "Hold still. Look at tilt and legs.", On: 2, Off: 1},
	{Kind: SidePull, Severity: Caution, Title: "A hook pulls aside", Ground: look, Air: "Hold still. Bring the hooks plumb over their points, one crane at a time.", On: 2, Off: 1},
	{Kind: Swinging, Severity: Caution, Title: "The load swings", Ground: look, Air: "Hold still until it is quiet. Use the tag lines.", On: 1, Off: 3},
	{Kind: Unsteady, Severity: Caution, Title: "Readings are unsteady", Ground: look, Air: "Hold still. Look for wind, contact or a jerky hoist.", On: 2, Off: 3},
	{Kind: Gust, Severity: Caution, Title: "Wind gusts move the load", Ground: look, Air: "Hold still. Check wind against the plan's limit.", On: 2, Off: 5},
	{Kind: Stale, Severity: Caution, Title: "Reading is old", Ground: look, Air: "Hold still until it reads again.", Off: 0.2},
	{Kind: Frozen, Severity: Stop, Force: true, Title: "A cell repeats itself", Ground: slacken + " Change or restart the cell.", Air: "Stop. This leg is blind. Land under control or restore the reading.", On: 0, Off: 1},
	{Kind: OutOfRange, Severity: Stop, Force: true, Title: "Cell out of its range", Ground: slacken, Air: land, On: 0.1, Off: 1},
	{Kind: ZeroOff, Severity: Caution, Force: true, Title: "Zero is suspect", Ground: "Slack off, check and zero the cell.", Air: look, On: 3, Off: 1},
	{Kind: Garbled, Severity: Caution, Title: "Garbled messages", Ground: "Check the link.", Air: "Check the link.", On: 0, Off: 10},
	{Kind: Battery, Severity: Caution, Title: "Battery is low", Ground: "Change it before the lift.", Air: "Plan to land.", Off: 5},
	{Kind: Radio, Severity: Caution, Title: "Radio is weak", Ground: "Move the receiver.", Air: "Move the receiver.", On: 3, Off: 5},
	{Kind: Recording, Severity: Caution, Title: "The recording is incomplete", Ground: "Make room on the disk. The watch goes on.", Air: "The watch goes on. Make room on the disk.", Off: 1},
	{Kind: WasAway, Severity: Caution, Title: "The watch was away", Ground: look, Air: "Hold still. Peaks in between were not seen.", Once: true},
}

var byKind = func() map[Kind]*Spec {
	m := map[Kind]*Spec{}
	for i := range Registry {
		m[Registry[i].Kind] = &Registry[i]
	}
	return m
}()

// Of is the entry of the registry for a kind; nil when there is none.
func Of(k Kind) *Spec { return byKind[k] }

// IsForce tells whether what the kind judges is a force.
func (k Kind) IsForce() bool {
	s := Of(k)
	return s != nil && s.Force
}
