package cli

import (
	"encoding/hex"
	"time"

	"plumbhook/register"
)

// The JSON of the gear commands. What is not on record is null.

type gearItem struct {
	Serial          string            `json:"serial"`
	Kind            string            `json:"kind"`
	Facts           map[string]string `json:"facts"`
	Rating          *gearRating       `json:"rating"`
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
	Inspection      *gearInspection   `json:"inspection"`
	Files           []gearFile        `json:"files"`
	Status          register.Status   `json:"status"`
	Reason          *string           `json:"reason"`
	StatusBy        *string           `json:"status_by"`
	StatusOn        *register.Date    `json:"status_on"`
	Version         int               `json:"version"`
}

type gearRating struct {
	Text     string  `json:"text"` // as on the tag
	ForceN   float64 `json:"force_N"`
	FromMass bool    `json:"from_mass"` // read as force at standard gravity
}

type gearInspection struct {
	On     register.Date `json:"on"`
	By     string        `json:"by"`
	Tag    register.Tick `json:"tag"`
	Latch  register.Tick `json:"latch"`
	Damage register.Tick `json:"damage"`
	Note   *string       `json:"note"`
}

type gearFile struct {
	Name   string `json:"name"`
	SHA256 string `json:"sha256"`
	Bytes  int64  `json:"bytes"`
}

type gearFinding struct {
	Severity register.Severity `json:"severity"`
	Rule     string            `json:"rule"`
	Source   string            `json:"source"`
	Text     string            `json:"text"`
}

type gearEvent struct {
	Version   int           `json:"version"`
	Day       register.Date `json:"day"`
	By        *string       `json:"by"`
	At        time.Time     `json:"at"` // when it was written down
	What      string        `json:"what"`
	Text      string        `json:"text"`
	Files     []gearFile    `json:"files"`
	Destroyed bool          `json:"destroyed"`
	SHA256    string        `json:"sha256"` // of the record; stays when it is destroyed
}

type gearShown struct {
	On       register.Date `json:"on"`
	Item     gearItem      `json:"item"`
	Findings []gearFinding `json:"findings"`
	History  []gearEvent   `json:"history"`
}

// orNull is nil for what is not on record.
func orNull[T ~string](s T) *T {
	if s == "" {
		return nil
	}
	return &s
}

func gearFiles(files []register.File) []gearFile {
	list := []gearFile{}
	for _, f := range files {
		list = append(list, gearFile{f.Name, f.Sum, f.Size})
	}
	return list
}

func newGearItem(it *register.Item) gearItem {
	g := gearItem{
		Serial: it.Serial, Kind: it.Kind, Facts: it.Facts, Location: it.Location, Made: orNull(it.Made),
		Certificate: orNull(it.Certificate), CertificateDate: orNull(it.CertificateDate),
		Examined: orNull(it.Examined), ExamineBy: orNull(it.ExamineBy),
		Calibrated: orNull(it.Calibrated), CalibrateBy: orNull(it.CalibrateBy),
		Mend: orNull(it.Mend), MendBy: orNull(it.MendBy), Files: gearFiles(it.Files),
		Status: it.Status, Reason: orNull(it.Reason), StatusBy: orNull(it.StatusBy), StatusOn: orNull(it.StatusOn),
		Version: it.Version,
	}
	if g.Facts == nil {
		g.Facts = map[string]string{}
	}
	if r := it.Rating; r != nil {
		g.Rating = &gearRating{r.Text, float64(r.Force), r.FromMass}
	}
	if i := it.Inspection; i != nil {
		g.Inspection = &gearInspection{i.On, i.By, i.Tag, i.Latch, i.Damage, orNull(i.Note)}
	}
	return g
}

func newGearList(items []register.Item) any {
	list := make([]gearItem, len(items))
	for i := range items {
		list[i] = newGearItem(&items[i])
	}
	return struct {
		Items []gearItem `json:"items"`
	}{list}
}

func newGearShown(it *register.Item, on register.Date, findings []register.Finding, events []register.Event) (*gearShown, error) {
	g := &gearShown{On: on, Item: newGearItem(it), Findings: []gearFinding{}}
	for _, f := range findings {
		g.Findings = append(g.Findings, gearFinding(f))
	}
	for i := range events {
		e := &events[i]
		text, err := tellEvent(e)
		if err != nil {
			return nil, err
		}
		c, err := e.Change()
		if err != nil {
			return nil, err
		}
		g.History = append(g.History, gearEvent{
			Version: e.Version, Day: e.Day, By: orNull(e.By), At: e.At, What: e.Name, Text: text,
			Files: gearFiles(register.FilesOf(c)), Destroyed: e.Body == nil, SHA256: hex.EncodeToString(e.BodySum[:]),
		})
	}
	return g, nil
}

type gearDue struct {
	Serial   string          `json:"serial"`
	Kind     string          `json:"kind"`
	Location string          `json:"location"`
	Status   register.Status `json:"status"`
	Due      register.Duty   `json:"due"`
	By       *register.Date  `json:"by"`   // null: no date on record
	Days     *int            `json:"days"` // from the day on; negative when overdue
	Overdue  bool            `json:"overdue"`
}

func newGearDue(dues []register.Due, on, until register.Date) any {
	list := make([]gearDue, len(dues))
	for i := range dues {
		d := &dues[i]
		list[i] = gearDue{Serial: d.Serial, Kind: d.Kind, Location: d.Location, Status: d.Status, Due: d.Duty, By: orNull(d.By)}
		if d.By != "" {
			days := d.Days(on)
			list[i].Days, list[i].Overdue = &days, days < 0
		}
	}
	return struct {
		On    register.Date `json:"on"`
		Until register.Date `json:"until"`
		Due   []gearDue     `json:"due"`
	}{on, until, list}
}

type gearColumn struct {
	Heading string  `json:"heading"`
	Column  *string `json:"column"` // null: a column without a heading
	Fact    bool    `json:"fact"`
	Unit    *string `json:"unit"`
}

type gearProblem struct {
	Line   int     `json:"line"`
	Column int     `json:"column"` // character in the line; 0: the whole row
	Where  string  `json:"where"`
	Code   string  `json:"code"`
	Text   string  `json:"text"`
	Do     *string `json:"do"`
}

type gearImport struct {
	File     string        `json:"file"`
	DryRun   bool          `json:"dry_run"`
	Taken    bool          `json:"taken"` // false: --strict kept everything out
	Columns  []gearColumn  `json:"columns"`
	Rows     int           `json:"rows"`
	New      int           `json:"new"`
	Changed  int           `json:"changed"`
	Same     int           `json:"same"`
	Refused  int           `json:"refused"`
	Problems []gearProblem `json:"problems"`
}

func newGearImport(s *register.Sheet, p *register.Plan, dry, taken bool) *gearImport {
	g := &gearImport{
		File: s.File, DryRun: dry, Taken: taken, Columns: []gearColumn{}, Rows: s.Read, New: p.New, Changed: p.Changed, Same: p.Same,
		Refused: s.Read - p.New - p.Changed - p.Same, Problems: []gearProblem{},
	}
	for _, c := range s.Columns {
		g.Columns = append(g.Columns, gearColumn{c.Heading, orNull(c.Name), c.Fact, orNull(c.Unit)})
	}
	for _, f := range p.Problems {
		g.Problems = append(g.Problems, gearProblem{f.Pos.Line, f.Pos.Column, f.Where, string(f.Code), f.What, orNull(f.Do)})
	}
	return g
}
