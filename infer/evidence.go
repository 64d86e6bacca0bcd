package infer

// Stage says what load and rigging were doing while the readings of a window
// were taken.
type Stage uint8

// Idle: before the lift, nothing but rigging on the cells. Tight: legs tight,
// the load on the ground or not proved free of it. Hold: the load hangs, and
// nothing changes. Landed: part of the load is on the ground again. Ended:
// set down, the legs slack.
const (
	Idle Stage = iota
	Tight
	Hold
	Landed
	Ended
)

// Freedom is the evidence that nothing but the hooks holds the load.
type Freedom uint8

// Unproved: none. Moving: the load answers as a free one does, it bounces,
// swings or follows the hook without a rise in force. Told: a named person
// says there is daylight all round.
const (
	Unproved Freedom = iota
	Moving
	Told
)

// Window is a stretch of steady readings.
type Window struct {
	Stage      Stage
	Free       Freedom
	FromS, ToS float64 // s, on the watch's own clock
	// ReadN is the mean of each cell as read, N, in the order of
	// Model.Channels: calibrated, with the zero it arrived with and nothing
	// tared off. NaN where there was nothing usable.
	ReadN []float64
	// NoiseN is the standard uncertainty of that mean from what moved within
	// the window, N, correlation in time allowed for.
	NoiseN []float64
	// TravelM is how far the hook has come up since the legs were slack, m;
	// nil without such a channel.
	TravelM *float64
	// CraneN is what the crane's own indicator shows, N; nil without.
	CraneN *float64
	// TiltRad is the measured tilt of the load, rad; nil without.
	TiltRad *float64
}

// Tare is a zeroing that the watch was told of.
type Tare struct {
	AtS      float64
	Attached bool      // legs attached and slack; else the rigging hung free
	OffN     []float64 // N, by cell: what was taken off
	Insisted bool      // by a named person, although the cells did not look unloaded
}

// Signs is what the course of the readings shows beside its steady stretches.
// Forces are N, times s; what was not seen is zero or nil.
type Signs struct {
	Frozen []int // cells that repeat one value while others move
	Lost   []int // cells that ceased to report under load

	// The rise, from legs tight to the first steady stretch.
	RiseS    float64 // its length
	RisePeak float64 // greatest total at the hooks
	RiseLine float64 // total at which the rise stopped being steady: lift-off, N

	Snaps  []Snap // sudden falls of the total
	Shocks []Snap // sudden peaks of the total in the air

	Swings []Swing
	// Unsteady is the greatest standard deviation of the total over a hold
	// that is neither swing nor bounce, N; WindMS the greatest wind seen
	// beside it, nil without an anemometer. WindCorr is how well one follows
	// the square of the other, -1 to 1.
	UnsteadyN float64
	WindMS    *float64
	WindCorr  float64

	// Landing, by cell: the share of its hold reading each still carried when
	// the total had fallen to half; nil when no landing was seen.
	AtHalf []float64
}

// Snap is one sudden change.
type Snap struct {
	AtS            float64
	BeforeN, PeakN float64 // total before, and at the extreme
	AfterN         float64 // total once it was steady again
}

// Swing is a stretch of pendulum motion.
type Swing struct {
	FromS, ToS float64
	PeriodS    float64 // of the load; the total goes up and down twice in it
	TotalN     float64 // amplitude in the total, N
}

// Course is a lift as far as it has gone.
type Course struct {
	Windows []Window
	Signs   Signs
	Tares   []Tare
	Done    bool // the load is down again
}
