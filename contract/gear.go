package contract

import (
	"cmp"
	"encoding/hex"
	"time"

	"plumbhook/register"
)

// GearItem is one piece of gear as it stands.
type GearItem struct {
	Serial          string            `json:"serial"`
	Kind            string            `json:"kind"`
	Facts           map[string]string `json:"facts"`
	Rating          *GearRating       `json:"rating"`
	Location        string            `json:"location"`
	Made            *register.Date    `json:"made"`
	Certificate     *string           `json:"certificate"`
	CertificateDate *register.Date    `json:"certificate_date"`
	Examined        *register.Date    `json:"examined"`
	ExamineBy       *register.Date    `json:"examine_by"`
	Calibrated      *register.Date    `json:"calibrated"`
	CalibrateBy     *register.Date    `json:"calibrate_by"`
	Mend            *string           `json:"mend"`
	MendBy          *register.Date    `json:"mend_by"`
	Inspection      *GearInspection   `json:"inspection"`
	Files           []GearFile        `json:"files"`
	Status          register.Status   `json:"status"`
	Reason          *string           `json:"reason"`
	StatusBy        *string           `json:"status_by"`
	StatusOn        *register.Date    `json:"status_on"`
	Version         int               `json:"version"`
	Life            GearLife          `json:"life"`
}

// GearLife is what watched lifts took of an item, as far as they were seen.
type GearLife struct {
	Watched     int            `json:"watched_lifts"`
	Lifts       int            `json:"lifts" doc:"times that load was taken"`
	Hours       float64        `json:"hours" doc:"with load on the hooks"`
	Shocks      int            `json:"shocks"`
	PeakN       *float64       `json:"peak_N" doc:"greatest ever; null: none was seen"`
	PeakAtLeast bool           `json:"peak_at_least" doc:"in some lift more may have been borne than was seen"`
	PeakOn      *register.Date `json:"peak_on"`
	PeakLift    *string        `json:"peak_lift"`
	Unseen      int            `json:"unseen" doc:"watched lifts whose peak is not known"`
	Over50      int            `json:"over_50" doc:"watched lifts with a peak above half the rating"`
	Over75      int            `json:"over_75"`
	Over100     int            `json:"over_100"`
	Swings      []GearSwings   `json:"swings" doc:"load cycles by rainflow, by range"`
	Proposed    *string        `json:"proposed" doc:"quarantine that a lift asks for; held until somebody confirms or refuses it"`
	ProposedOn  *register.Date `json:"proposed_on"`
	Override    *GearOverride  `json:"override" doc:"a load cell past its calibration, on the word of a person"`
}

// GearSwings is how many load cycles had a range from here up to there.
type GearSwings struct {
	FromN float64 `json:"from_N"`
	ToN   float64 `json:"to_N"`
	Count float64 `json:"count"`
}

// GearOverride is who answers for a load cell past its calibration.
type GearOverride struct {
	By      string        `json:"by"`
	Why     string        `json:"why"`
	Until   register.Date `json:"until"`
	PerYear float64       `json:"drift_per_year" doc:"share of the reading"`
}

// NewGearLife shapes what lifts took of an item.
func NewGearLife(l *register.Life) GearLife {
	g := GearLife{
		Watched: l.Watched, Lifts: l.Lifts, Hours: l.Hours, Shocks: l.Shocks, PeakAtLeast: l.PeakAtLeast, PeakOn: orNull(l.PeakOn), PeakLift: orNull(l.PeakLift),
		Unseen: l.Unseen, Over50: l.Over50, Over75: l.Over75, Over100: l.Over100, Swings: []GearSwings{}, Proposed: orNull(l.Proposed), ProposedOn: orNull(l.ProposedOn),
	}
	if l.Peak > 0 {
		g.PeakN = &l.Peak
	}
	for _, s := range l.Swings {
		g.Swings = append(g.Swings, GearSwings{s.From, s.To, s.Count})
	}
	if o := l.Override; o != nil {
		g.Override = &GearOverride{o.By, o.Why, o.Until, o.PerYear}
	}
	return g
}

// GearRating is a WLL as on the tag.
type GearRating struct {
	Text     string  `json:"text"` // as on the tag
	ForceN   float64 `json:"force_N"`
	FromMass bool    `json:"from_mass"` // read as force at standard gravity
}

// GearInspection is the latest look before use.
type GearInspection struct {
	On     register.Date `json:"on"`
	By     string        `json:"by"`
	Tag    register.Tick `json:"tag"`
	Latch  register.Tick `json:"latch"`
	Damage register.Tick `json:"damage"`
	Note   *string       `json:"note"`
}

// GearFile is an attachment.
type GearFile struct {
	Name   string `json:"name"`
	SHA256 string `json:"sha256"`
	Bytes  int64  `json:"bytes"`
}

// GearFinding is what stands against using an item on a day.
type GearFinding struct {
	Severity register.Severity `json:"severity"`
	Rule     string            `json:"rule"`
	Source   string            `json:"source"`
	Text     string            `json:"text"`
}

// GearEvent is one entry of its history.
type GearEvent struct {
	Version   int           `json:"version"`
	Day       register.Date `json:"day"`
	By        *string       `json:"by"`
	At        time.Time     `json:"at"` // when it was written down
	What      string        `json:"what"`
	Text      string        `json:"text"`
	Files     []GearFile    `json:"files"`
	Destroyed bool          `json:"destroyed"`
	SHA256    string        `json:"sha256"` // of the record; stays when it is destroyed
}

// GearShown is an item with its history and its fitness on a day.
type GearShown struct {
	On       register.Date `json:"on"`
	Item     GearItem      `json:"item"`
	Findings []GearFinding `json:"findings"`
	History  []GearEvent   `json:"history"`
}

// orNull is nil for what is not on record.
func orNull[T ~string](s T) *T {
	if s == "" {
		return nil
	}
	return &s
}

func fileList(files []register.File) []GearFile {
	list := []GearFile{}
	for _, f := range files {
		list = append(list, GearFile{f.Name, f.Sum, f.Size})
	}
	return list
}

// NewGearItem shapes an item.
func NewGearItem(it *register.Item) GearItem {
	g := GearItem{
		Serial: it.Serial, Kind: it.Kind, Facts: it.Facts, Location: it.Location, Made: orNull(it.Made),
		Certificate: orNull(it.Certificate), CertificateDate: orNull(it.CertificateDate),
		Examined: orNull(it.Examined), ExamineBy: orNull(it.ExamineBy),
		Calibrated: orNull(it.Calibrated), CalibrateBy: orNull(it.CalibrateBy),
		Mend: orNull(it.Mend), MendBy: orNull(it.MendBy), Files: fileList(it.Files),
		Status: it.Status, Reason: orNull(it.Reason), StatusBy: orNull(it.StatusBy), StatusOn: orNull(it.StatusOn),
		Version: it.Version, Life: NewGearLife(&it.Life),
	}
	if g.Facts == nil {
		g.Facts = map[string]string{}
	}
	if r := it.Rating; r != nil {
		g.Rating = &GearRating{r.Text, float64(r.Force), r.FromMass}
	}
	if i := it.Inspection; i != nil {
		g.Inspection = &GearInspection{i.On, i.By, i.Tag, i.Latch, i.Damage, orNull(i.Note)}
	}
	return g
}

// GearList is some of the register.
type GearList struct {
	Items []GearItem `json:"items"`
}

// NewGearList shapes items.
func NewGearList(items []register.Item) GearList {
	list := make([]GearItem, len(items))
	for i := range items {
		list[i] = NewGearItem(&items[i])
	}
	return GearList{list}
}

// NewGearShown shapes an item with its history.
func NewGearShown(it *register.Item, on register.Date, findings []register.Finding, events []register.Event) (*GearShown, error) {
	g := &GearShown{On: on, Item: NewGearItem(it), Findings: []GearFinding{}, History: []GearEvent{}}
	for _, f := range findings {
		g.Findings = append(g.Findings, GearFinding(f))
	}
	for i := range events {
		e := &events[i]
		text, err := e.Say()
		if err != nil {
			return nil, err
		}
		c, err := e.Change()
		if err != nil {
			return nil, err
		}
		g.History = append(g.History, GearEvent{
			Version: e.Version, Day: e.Day, By: orNull(e.By), At: e.At, What: e.Name, Text: text,
			Files: fileList(register.FilesOf(c)), Destroyed: e.Body == nil, SHA256: hex.EncodeToString(e.BodySum[:]),
		})
	}
	return g, nil
}

// GearDue is one thing that falls due.
type GearDue struct {
	Serial   string          `json:"serial"`
	Kind     string          `json:"kind"`
	Location string          `json:"location"`
	Status   register.Status `json:"status"`
	Due      register.Duty   `json:"due"`
	By       *register.Date  `json:"by"`   // null: no date on record
	Days     *int            `json:"days"` // from the day on; negative when overdue
	Overdue  bool            `json:"overdue"`
}

// GearDues is what falls due up to a day, seen from another.
type GearDues struct {
	On    register.Date `json:"on"`
	Until register.Date `json:"until"`
	Due   []GearDue     `json:"due"`
}

// NewGearDue shapes dues.
func NewGearDue(dues []register.Due, on, until register.Date) GearDues {
	list := make([]GearDue, len(dues))
	for i := range dues {
		list[i] = newGearDue(&dues[i], on)
	}
	return GearDues{on, until, list}
}

func newGearDue(d *register.Due, on register.Date) GearDue {
	out := GearDue{Serial: d.Serial, Kind: d.Kind, Location: d.Location, Status: d.Status, Due: d.Duty, By: orNull(d.By)}
	if d.By != "" {
		days := d.Days(on)
		out.Days, out.Overdue = &days, days < 0
	}
	return out
}

// GearColumn says what was made of a heading.
type GearColumn struct {
	Heading string  `json:"heading"`
	Column  *string `json:"column"` // null: a column without a heading
	Fact    bool    `json:"fact"`
	Unit    *string `json:"unit"`
}

// GearProblem is what is wrong with a row.
type GearProblem struct {
	Line   int     `json:"line"`
	Column int     `json:"column"` // character in the line; 0: the whole row
	Where  string  `json:"where"`
	Code   string  `json:"code"`
	Text   string  `json:"text"`
	Do     *string `json:"do"`
}

// GearImport is what an import did, or would do.
type GearImport struct {
	File     string        `json:"file"`
	DryRun   bool          `json:"dry_run"`
	Taken    bool          `json:"taken"` // false: --strict kept everything out
	Columns  []GearColumn  `json:"columns"`
	Rows     int           `json:"rows"`
	New      int           `json:"new"`
	Changed  int           `json:"changed"`
	Same     int           `json:"same"`
	Refused  int           `json:"refused"`
	Problems []GearProblem `json:"problems"`
}

// NewGearImport shapes the outcome of an import.
func NewGearImport(s *register.Sheet, p *register.Plan, dry, taken bool) *GearImport {
	g := &GearImport{
		File: s.File, DryRun: dry, Taken: taken, Columns: []GearColumn{}, Rows: s.Read, New: p.New, Changed: p.Changed, Same: p.Same,
		Refused: s.Read - p.New - p.Changed - p.Same, Problems: []GearProblem{},
	}
	for _, c := range s.Columns {
		g.Columns = append(g.Columns, GearColumn{c.Heading, orNull(c.Name), c.Fact, orNull(c.Unit)})
	}
	for _, f := range p.Problems {
		g.Problems = append(g.Problems, GearProblem{f.Pos.Line, f.Pos.Column, f.Where, string(f.Code), f.What, orNull(f.Do)})
	}
	return g
}

// GearPage is one page of the register.
type GearPage struct {
	Items []GearRow `json:"items"`
	More  bool      `json:"more"`
}

// GearRow is one item in a list.
type GearRow struct {
	Serial   string         `json:"serial"`
	Kind     string         `json:"kind"`
	Size     string         `json:"size"`
	WLLN     *float64       `json:"wll_N"`
	WLL      string         `json:"wll" doc:"as on the tag; empty: not on record"`
	Status   string         `json:"status" enum:"in service,quarantined,scrapped"`
	DueOn    *register.Date `json:"due_on" doc:"what falls due first; null: nothing on record"`
	Fit      bool           `json:"fit" doc:"nothing on record stands against using it today; the tag and a look at it govern"`
	Location string         `json:"location"`
}

// NewGearPage shapes items for a list, as they stand on a day.
func NewGearPage(items []register.Item, more bool, on register.Date) GearPage {
	p := GearPage{Items: []GearRow{}, More: more}
	for i := range items {
		it := &items[i]
		r := GearRow{Serial: it.Serial, Kind: it.Kind, Size: cmp.Or(it.Facts["size"], it.Facts["diameter"]), Status: string(it.Status), Location: it.Location, Fit: true}
		if it.Rating != nil {
			n := float64(it.Rating.Force)
			r.WLLN, r.WLL = &n, it.Rating.Text
		}
		if d, ok := it.FirstDue(); ok && d != "" {
			r.DueOn = &d
		}
		for _, f := range register.Fitness(it, on) {
			r.Fit = r.Fit && f.Severity != register.Stop && f.Severity != register.NotAssessed
		}
		p.Items = append(p.Items, r)
	}
	return p
}
