package contract

import (
	"plumbhook/register"
	"plumbhook/watch"
)

// Toll is what a lift took of its gear, as far as the watch saw.
type Toll struct {
	Recording string     `json:"recording" doc:"its id"`
	Lifts     int        `json:"lifts" doc:"times that load was taken"`
	Hours     float64    `json:"hours" doc:"with load on the hooks"`
	Shocks    int        `json:"shocks"`
	Parts     []TollPart `json:"parts"`
}

// TollPart is the most that one part bore, gross.
type TollPart struct {
	Where    string   `json:"where"`
	Kind     string   `json:"kind"`
	Serial   string   `json:"serial"`
	PeakN    *float64 `json:"peak_N" doc:"null: it cannot be told"`
	PeakU95N *float64 `json:"peak_u95_N"`
	AtLeast  bool     `json:"at_least" doc:"it may have been more"`
	Why      string   `json:"why" doc:"why at least, or why it cannot be told"`
	LimitN   *float64 `json:"limit_N" doc:"rating as rigged; null: none is known"`
	Used     *float64 `json:"used" doc:"share of it at the peak"`
	Channel  string   `json:"channel" doc:"of the cell that it goes by; empty: of all cells together"`
}

// GearTaken is what a recording writes into the register, or wrote.
type GearTaken struct {
	Toll    Toll         `json:"toll"`
	Dry     bool         `json:"dry" doc:"nothing was written"`
	Written []GearWrites `json:"written"`
	Had     []string     `json:"had" doc:"serials whose history has this recording already"`
	Unknown []string     `json:"unknown" doc:"serials that take none: the register does not know them, or they are scrapped"`
}

// GearWrites is what one item's history gets.
type GearWrites struct {
	Serial   string  `json:"serial"`
	Text     string  `json:"text"`
	Proposed *string `json:"proposed" doc:"quarantine that the item is held for until somebody answers"`
}

// NewToll shapes a toll.
func NewToll(t *watch.Toll, recording string) Toll {
	out := Toll{Recording: recording, Lifts: t.Lifts, Hours: t.HookS / 3600, Shocks: t.Shocks, Parts: []TollPart{}}
	for i := range t.Parts {
		b := &t.Parts[i]
		p := TollPart{Where: b.Where, Kind: b.Kind, Serial: b.Serial, PeakN: finite(b.PeakN), AtLeast: b.AtLeast, Why: b.Why, LimitN: b.LimitN, Channel: b.Channel}
		if p.PeakN != nil {
			p.PeakU95N = finite(b.U95N)
			if b.LimitN != nil {
				p.Used = finite(b.PeakN / *b.LimitN)
			}
		}
		out.Parts = append(out.Parts, p)
	}
	return out
}

// NewGearTaken shapes what was, or would be, written.
func NewGearTaken(t Toll, r *register.Recorded, dry bool) (GearTaken, error) {
	out := GearTaken{Toll: t, Dry: dry, Written: []GearWrites{}, Had: append([]string{}, r.Had...), Unknown: append([]string{}, r.Unknown...)}
	for i := range r.Entries {
		text, err := r.Entries[i].Event.Say()
		if err != nil {
			return out, err
		}
		out.Written = append(out.Written, GearWrites{r.Entries[i].Item.Serial, text, orNull(r.Entries[i].Item.Life.Proposed)})
	}
	return out, nil
}
