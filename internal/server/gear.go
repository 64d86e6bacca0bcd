package server

import (
	"bytes"
	"context"
	"net/http"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"plumbhook/contract"
	"plumbhook/fault"
	"plumbhook/internal/qr"
	"plumbhook/quantity"
	"plumbhook/register"
)

// mostList is how long an imported list may be over HTTP, bytes; mostLabels how
// many labels one sheet prints.
const (
	mostList   = 32 << 20
	mostLabels = 500
)

type gearQuery struct {
	Q      string `query:"q" maxLength:"200" doc:"words, each in the serial, kind, location, rating or a fact"`
	Status string `query:"status" enum:"in service,quarantined,scrapped"`
	Limit  int    `query:"limit" minimum:"1" maximum:"200" default:"50"`
	After  string `query:"after" maxLength:"40" doc:"the last serial of the page before"`
}

// GearOrder is a new item.
type GearOrder struct {
	Claimed
	Serial      string            `json:"serial" maxLength:"40"`
	Kind        string            `json:"kind" maxLength:"80"`
	Facts       map[string]string `json:"facts,omitempty"`
	WLL         string            `json:"wll,omitempty" maxLength:"40" doc:"as on the tag, with its unit"`
	Location    string            `json:"location,omitempty" maxLength:"80"`
	Made        string            `json:"made,omitempty" maxLength:"10"`
	Certificate string            `json:"certificate,omitempty" maxLength:"80"`
	Examined    string            `json:"examined,omitempty" maxLength:"10"`
	ExamineBy   string            `json:"examine_by,omitempty" maxLength:"10"`
	Calibrated  string            `json:"calibrated,omitempty" maxLength:"10"`
	CalibrateBy string            `json:"calibrate_by,omitempty" maxLength:"10"`
}

type gearChange struct {
	GearSerial
	Body struct {
		Claimed
		Kind        string  `json:"kind" enum:"inspection,examination,calibration,quarantine,release,scrapping,confirming,refusing,zero check,override"`
		Reason      string  `json:"reason,omitempty" maxLength:"2000" doc:"of quarantine, release, scrapping; of confirming or refusing the quarantine that a lift asks for; of an override"`
		Found       string  `json:"found,omitempty" maxLength:"80" doc:"of a zero check: what the unloaded cell read, with its unit"`
		Good        bool    `json:"good,omitempty" doc:"of a zero check: that is its zero"`
		Until       string  `json:"until,omitempty" maxLength:"10" doc:"last day of an override"`
		PerYear     float64 `json:"drift_per_year,omitempty" minimum:"0" maximum:"0.2" doc:"of an override: how fast the cell may drift, share of the reading"`
		Tag         string  `json:"tag,omitempty" enum:"good,bad" doc:"of an inspection"`
		Latch       string  `json:"latch,omitempty" enum:"good,bad,not applicable"`
		Damage      string  `json:"damage,omitempty" enum:"good,bad" doc:"good: none found"`
		Note        string  `json:"note,omitempty" maxLength:"2000"`
		On          string  `json:"on,omitempty" maxLength:"10" doc:"of a calibration or inspection; empty: today"`
		Next        string  `json:"next,omitempty" maxLength:"10"`
		Certificate string  `json:"certificate,omitempty" maxLength:"80"`
		Laboratory  string  `json:"laboratory,omitempty" maxLength:"80"`
		Report      Report  `json:"report,omitempty" doc:"of an examination"`
	}
}

// GearSerial names an item in a path.
type GearSerial struct {
	Serial string `path:"serial"`
}

// Report is a thorough examination as LOLER 1998 Schedule 1 asks for it.
type Report struct {
	Employer        string   `json:"employer"`
	EmployerAddress string   `json:"employer_address"`
	Premises        string   `json:"premises"`
	Particulars     string   `json:"particulars,omitempty"`
	SWL             string   `json:"swl,omitempty" doc:"with its unit"`
	Basis           string   `json:"basis"`
	InstalledWell   bool     `json:"installed_well,omitempty"`
	Holds           bool     `json:"fit" doc:"the examiner found it fit to be used"`
	Defects         []Defect `json:"defects,omitempty"`
	Next            string   `json:"next,omitempty"`
	Tests           string   `json:"tests,omitempty"`
	On              string   `json:"on"`
	Reported        string   `json:"reported,omitempty" doc:"empty: the day of the examination"`
	Examiner        string   `json:"examiner"`
	ExaminerAddress string   `json:"examiner_address"`
	Qualifications  string   `json:"qualifications"`
	SelfEmployed    bool     `json:"self_employed,omitempty"`
	Firm            string   `json:"firm,omitempty" doc:"the examiner's employer"`
	FirmAddress     string   `json:"firm_address,omitempty"`
}

// Defect is one found by an examination.
type Defect struct {
	Part   string `json:"part"`
	What   string `json:"what"`
	Remedy string `json:"remedy,omitempty"`
	By     string `json:"by,omitempty" doc:"when it could become a danger; empty: it is one now"`
}

// gear are the routes about the register.
func (s *Server) gear(api huma.API) {
	op := func(method, path, id, summary string) huma.Operation {
		o := huma.Operation{OperationID: id, Method: method, Path: "/api/gear" + path, Summary: summary, MaxBodyBytes: 16 * mostBody, Errors: []int{400, 401, 403, 404, 422, 500}}
		if method == http.MethodPost {
			o.Errors = append(o.Errors, 409, 413, 415)
		}
		return o
	}
	huma.Register(api, op("GET", "", "find-gear", "Gear, by serial, page by page"), func(ctx context.Context, q *gearQuery) (*answer[contract.GearPage], error) {
		items, more, err := s.o.Gear.Seek(ctx, register.Query{Words: strings.Fields(q.Q), Status: register.Status(q.Status)}, q.After, q.Limit)
		if err != nil {
			return nil, s.status(err)
		}
		return &answer[contract.GearPage]{contract.NewGearPage(items, more, s.today())}, nil
	})
	huma.Register(api, op("GET", "/due", "gear-due", "What is overdue or falls due"), func(ctx context.Context, q *struct {
		Until string `query:"until" maxLength:"10" doc:"a day; empty: 30 days from today"`
	},
	) (*answer[contract.GearDues], error) {
		until := s.today().AddDays(30)
		if q.Until != "" {
			var err error
			if until, err = register.ParseDate(q.Until); err != nil {
				return nil, s.status(err)
			}
		}
		dues, err := s.o.Gear.Due(ctx, until)
		if err != nil {
			return nil, s.status(err)
		}
		return &answer[contract.GearDues]{contract.NewGearDue(dues, s.today(), until)}, nil
	})
	huma.Register(api, op("GET", "/{serial}", "get-gear", "One item with its history and its fitness today"), func(ctx context.Context, o *GearSerial) (*answer[contract.GearShown], error) {
		return s.item(ctx, o.Serial)
	})
	huma.Register(api, op("POST", "", "enter-gear", "A new item"), func(ctx context.Context, o *order[GearOrder]) (*answer[contract.GearShown], error) {
		b := &o.Body
		it := register.Item{Serial: b.Serial, Kind: b.Kind, Facts: b.Facts, Location: b.Location, Certificate: b.Certificate, Status: register.InService}
		var bad fault.List
		for where, d := range map[string]struct {
			text string
			to   *register.Date
		}{"made": {b.Made, &it.Made}, "examined": {b.Examined, &it.Examined}, "examine_by": {b.ExamineBy, &it.ExamineBy}, "calibrated": {b.Calibrated, &it.Calibrated}, "calibrate_by": {b.CalibrateBy, &it.CalibrateBy}} {
			day(where, d.text, d.to, &bad)
		}
		rating("wll", b.WLL, &it.Rating, &bad)
		if err := bad.Err(); err != nil {
			return nil, s.status(err)
		}
		return s.enterGear(ctx, register.Item{}, register.Entering{Item: it}, b.Who)
	})
	huma.Register(api, op("POST", "/{serial}/changes", "change-gear", "Something that happened to an item"), s.changeGear)
	list := op("POST", "/import", "import-gear", "Take a gear list in; with dry, only say what would be done")
	list.MaxBodyBytes = mostList
	list.BodyReadTimeout = patience
	huma.Register(api, list, s.importGear)
	labels := op("GET", "/labels.pdf", "gear-labels", "Labels with QR codes on A4")
	labels.Responses = map[string]*huma.Response{"200": {Description: "The labels", Content: map[string]*huma.MediaType{"application/pdf": {Schema: &huma.Schema{Type: huma.TypeString, Format: "binary"}}}}}
	huma.Register(api, labels, s.labels)
	file := op("GET", "/{serial}/files/{sum}", "gear-file", "A file of an item")
	file.Responses = map[string]*huma.Response{"200": {Description: "The file", Content: map[string]*huma.MediaType{"application/octet-stream": {Schema: &huma.Schema{Type: huma.TypeString, Format: "binary"}}}}}
	huma.Register(api, file, s.gearFile)
}

func day(where, text string, to *register.Date, bad *fault.List) {
	if text == "" {
		return
	}
	d, err := register.ParseDate(text)
	if err != nil {
		*bad = append(*bad, fault.Of(err)[0].In(where))
	}
	*to = d
}

func rating(where, text string, to **quantity.Rating, bad *fault.List) {
	if text == "" {
		return
	}
	r, err := quantity.ParseRating(text)
	if err != nil {
		*bad = append(*bad, fault.Of(err)[0].In(where))
		return
	}
	*to = &r
}

// item answers with an item.
func (s *Server) item(ctx context.Context, serial string) (*answer[contract.GearShown], error) {
	it, err := s.o.Gear.Item(ctx, serial)
	if err != nil {
		return nil, s.status(err)
	}
	events, err := s.o.Gear.History(ctx, serial)
	if err != nil {
		return nil, s.status(err)
	}
	g, err := contract.NewGearShown(&it, s.today(), register.Fitness(&it, s.today()), events)
	if err != nil {
		return nil, s.status(err)
	}
	return &answer[contract.GearShown]{*g}, nil
}

// enterGear writes a change and answers with the item.
func (s *Server) enterGear(ctx context.Context, it register.Item, c register.Change, claimed string) (*answer[contract.GearShown], error) {
	by := s.stamp(ctx, claimed)
	e, err := it.Next(c, register.Stamp{Day: s.today(), By: by.Who}, by.At)
	if err == nil {
		err = s.o.Gear.Write(ctx, []register.Entry{e})
	}
	if err != nil {
		return nil, s.status(err)
	}
	return s.item(ctx, e.Item.Serial)
}

func (s *Server) changeGear(ctx context.Context, o *gearChange) (*answer[contract.GearShown], error) {
	it, err := s.o.Gear.Item(ctx, o.Serial)
	if err != nil {
		return nil, s.status(err)
	}
	b := &o.Body
	var bad fault.List
	on, next := s.today(), register.Date("")
	day("on", b.On, &on, &bad)
	day("next", b.Next, &next, &bad)
	var c register.Change
	switch b.Kind {
	case "quarantine":
		c = register.Quarantine{Reason: b.Reason}
	case "release":
		c = register.Release{Reason: b.Reason}
	case "scrapping":
		c = register.Scrapping{Reason: b.Reason}
	case "confirming":
		c = register.Confirming{Reason: b.Reason}
	case "refusing":
		c = register.Refusing{Reason: b.Reason}
	case "zero check":
		c = register.ZeroCheck{Found: b.Found, Good: b.Good}
	case "override":
		var until register.Date
		day("until", b.Until, &until, &bad)
		c = register.Overriding{Why: b.Reason, Until: until, PerYear: b.PerYear}
	case "inspection":
		c = register.Inspection{On: on, By: s.stamp(ctx, b.Who).Who, Tag: register.Tick(b.Tag), Latch: register.Tick(b.Latch), Damage: register.Tick(b.Damage), Note: b.Note}
	case "calibration":
		c = register.Calibration{On: on, Next: next, Certificate: b.Certificate, Laboratory: b.Laboratory}
	case "examination":
		c = b.Report.examination(&bad)
	}
	if err := bad.Err(); err != nil {
		return nil, s.status(err)
	}
	return s.enterGear(ctx, it, c, b.Who)
}

func (r *Report) examination(bad *fault.List) register.Examination {
	x := register.Examination{
		Employer: register.Party{Name: r.Employer, Address: r.EmployerAddress}, Premises: r.Premises, Particulars: r.Particulars,
		Basis: register.Basis(r.Basis), InstalledWell: r.InstalledWell, Safe: r.Holds, Tests: r.Tests,
		Examiner: register.Examiner{
			Party: register.Party{Name: r.Examiner, Address: r.ExaminerAddress}, Qualifications: r.Qualifications, SelfEmployed: r.SelfEmployed,
			Employer: register.Party{Name: r.Firm, Address: r.FirmAddress},
		},
	}
	day("report.on", r.On, &x.On, bad)
	day("report.next", r.Next, &x.Next, bad)
	x.Reported = x.On
	day("report.reported", r.Reported, &x.Reported, bad)
	rating("report.swl", r.SWL, &x.SWL, bad)
	for _, d := range r.Defects {
		f := register.Defect{Part: d.Part, What: d.What, Remedy: d.Remedy}
		day("report.defects.by", d.By, &f.By, bad)
		x.Defects = append(x.Defects, f)
	}
	return x
}

func (s *Server) importGear(ctx context.Context, o *struct {
	Dry     bool   `query:"dry" doc:"only say what would be done"`
	Update  bool   `query:"update" doc:"let rows about gear that is there replace what is known of it, its status apart"`
	Name    string `query:"name" maxLength:"100" doc:"of the file, for what is said about it"`
	RawBody []byte `contentType:"text/csv"`
},
) (*answer[contract.GearImport], error) {
	name := o.Name
	if name == "" {
		name = "list.csv"
	}
	sheet, err := register.ReadCSV(name, o.RawBody, nil, s.today())
	if err != nil {
		return nil, s.status(err)
	}
	serials := make([]string, len(sheet.Rows))
	for i := range sheet.Rows {
		serials[i] = sheet.Rows[i].Item.Serial
	}
	there, err := s.o.Gear.Items(ctx, serials)
	if err != nil {
		return nil, s.status(err)
	}
	plan := sheet.Plan(there, o.Update)
	if !o.Dry {
		by := s.stamp(ctx, "")
		entries, err := plan.Entries(register.Stamp{Day: s.today(), By: by.Who}, by.At)
		if err == nil {
			err = s.o.Gear.Write(ctx, entries)
		}
		if err != nil {
			return nil, s.status(err)
		}
	}
	return &answer[contract.GearImport]{*contract.NewGearImport(sheet, &plan, o.Dry, !o.Dry)}, nil
}

func (s *Server) labels(ctx context.Context, q *struct {
	Serials []string `query:"serials" maxItems:"500" doc:"with commas between"`
},
) (*typed, error) {
	if len(q.Serials) == 0 || len(q.Serials) > mostLabels {
		return nil, s.status(fault.New(fault.Missing, "%d serials to print", len(q.Serials)).In("serials").Fix("name 1 to %d", mostLabels))
	}
	var labels []qr.Label
	for _, serial := range q.Serials {
		it, err := s.o.Gear.Item(ctx, serial)
		if err != nil {
			return nil, s.status(err)
		}
		labels = append(labels, qr.Gear(&it))
	}
	var b bytes.Buffer
	if err := qr.Sheet(&b, "Gear labels", labels); err != nil {
		return nil, s.status(err)
	}
	return &typed{"application/pdf", b.Bytes()}, nil
}

// gearFile gives a file to be saved, never to be shown as a page of ours.
func (s *Server) gearFile(ctx context.Context, o *struct {
	GearSerial
	Sum string `path:"sum" maxLength:"64"`
},
) (*struct {
	Type string `header:"Content-Type"`
	Disp string `header:"Content-Disposition"`
	Body []byte
}, error,
) {
	events, err := s.o.Gear.History(ctx, o.Serial)
	if err != nil {
		return nil, s.status(err)
	}
	for i := range events {
		c, err := events[i].Change()
		if err != nil {
			return nil, s.status(err)
		}
		for _, f := range register.FilesOf(c) {
			if f.Sum != o.Sum {
				continue
			}
			b, err := s.o.Gear.Get(ctx, f)
			if err != nil {
				return nil, s.status(err)
			}
			return &struct {
				Type string `header:"Content-Type"`
				Disp string `header:"Content-Disposition"`
				Body []byte
			}{"application/octet-stream", "attachment", b}, nil
		}
	}
	return nil, s.status(fault.New(fault.Reference, "the item has no such file").In("sum").Fix("its files are in its history"))
}
