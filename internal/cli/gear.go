package cli

import (
	"context"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"plumbhook/contract"
	"plumbhook/fault"
	"plumbhook/internal/qr"
	"plumbhook/internal/store"
	"plumbhook/quantity"
	"plumbhook/register"
)

// gearCmd is the register of the gear that has serials. What can be said of
// every change stands here: the folder, the day, the person.
type gearCmd struct {
	Data string        `required:"" placeholder:"DIR" help:"Data folder that holds the register."`
	On   register.Date `placeholder:"DATE" help:"The day this is about, such as 2026-04-03; today unless given."`
	By   string        `placeholder:"NAME" help:"Who does this; every change but an import has to name somebody."`

	Import     gearImportCmd     `cmd:"" help:"Take a gear list (CSV) into the register. Exit status 1: some rows were refused; 2: nothing was taken."`
	Export     gearExportCmd     `cmd:"" help:"Write the register as CSV, in the form that import reads."`
	List       gearListCmd       `cmd:"" aliases:"find" help:"List gear; with words, what bears them all."`
	Show       gearShowCmd       `cmd:"" help:"Show one item: what is known, whether it is fit on the day, its history."`
	Due        gearDueCmd        `cmd:"" help:"List what is overdue or falls due, as text, JSON or a calendar (iCalendar)."`
	Examine    gearExamineCmd    `cmd:"" help:"Record a report of thorough examination; --blank prints the form to fill in."`
	Calibrate  gearCalibrateCmd  `cmd:"" help:"Record a calibration of a load cell."`
	Inspect    gearInspectCmd    `cmd:"" help:"Record an inspection before use. What fails it is quarantined."`
	Quarantine gearQuarantineCmd `cmd:"" help:"Hold an item back."`
	Release    gearReleaseCmd    `cmd:"" help:"Put a quarantined item back into service."`
	Confirm    gearConfirmCmd    `cmd:"" help:"Quarantine an item as a watched lift asks for."`
	Refuse     gearRefuseCmd     `cmd:"" help:"Say why an item needs no quarantine that a watched lift asks for."`
	ZeroCheck  gearZeroCheckCmd  `cmd:"" help:"Record what an unloaded load cell read. A zero that is off holds it back."`
	Override   gearOverrideCmd   `cmd:"" help:"Let a load cell be used past its calibration, on a person's word and with a wider band."`
	Scrap      gearScrapCmd      `cmd:"" help:"End an item for good. It stays on the register."`
	Attach     gearAttachCmd     `cmd:"" help:"Attach files to an item, such as the maker's certificate."`
	Fetch      gearFetchCmd      `cmd:"" help:"Write out an attachment."`
	Labels     gearLabelsCmd     `cmd:"" help:"Print labels with QR codes on A4 (PDF); of all gear in service unless serials are given."`
	Destroy    gearDestroyCmd    `cmd:"" help:"List records that no retention rule keeps any longer; with --confirm destroy them down to their checksum."`
}

// day is the day the command is about. The clock is read here and in stamp,
// nowhere else.
func (g *gearCmd) day() register.Date {
	if g.On != "" {
		return g.On
	}
	return register.DateOf(time.Now())
}

// with opens the register, lets f use it, and closes it.
func (g *gearCmd) with(create bool, f func(ctx context.Context, s register.Store) error) error {
	ctx := context.Background()
	s, err := store.Open(ctx, g.Data, create)
	if err != nil {
		return err
	}
	err = f(ctx, s)
	if closed := s.Close(); err == nil {
		err = closed
	}
	return err
}

// change applies a change to the item that bears a serial, and says how it
// stands then.
func (g *gearCmd) change(e *env, serial string, attach []string, make func(it *register.Item, files []register.File) (register.Change, error)) error {
	if g.By == "" {
		return fault.New(fault.Missing, "nobody is named").Fix("say who does this: --by NAME")
	}
	return g.with(false, func(ctx context.Context, s register.Store) error {
		it, err := s.Item(ctx, serial)
		if err != nil {
			return err
		}
		files, err := put(ctx, s, attach)
		if err != nil {
			return err
		}
		c, err := make(&it, files)
		if err != nil {
			return err
		}
		entry, err := it.Next(c, register.Stamp{Day: g.day(), By: g.By}, time.Now())
		if err != nil {
			return err
		}
		if err := s.Write(ctx, []register.Entry{entry}); err != nil {
			return err
		}
		fmt.Fprintf(e.out, "%s %s: %s\n", it.Serial, entry.Event.Name, standing(&entry.Item))
		return nil
	})
}

// put keeps the files at the paths.
func put(ctx context.Context, s register.Store, paths []string) ([]register.File, error) {
	var files []register.File
	for _, path := range paths {
		in, err := os.Open(path)
		if err != nil {
			return nil, fault.New(fault.Path, "the attachment cannot be read").Because(err).Fix("check the path")
		}
		f, err := s.Put(ctx, filepath.Base(path), in)
		in.Close()
		if err != nil {
			return nil, err
		}
		files = append(files, f)
	}
	return files, nil
}

// standing words a status with its reason.
func standing(it *register.Item) string {
	s := string(it.Status)
	if it.Reason == "" {
		return s
	}
	if it.StatusOn != "" {
		s += " since " + string(it.StatusOn)
	}
	if it.StatusBy != "" {
		s += " by " + it.StatusBy
	}
	return s + ": " + it.Reason
}

type gearImportCmd struct {
	File   string            `arg:"" help:"Gear list (CSV, UTF-8) with a heading; serial and kind are needed."`
	DryRun bool              `help:"Only say what would be done and what is wrong."`
	Strict bool              `help:"Take nothing unless every row is good."`
	Update bool              `help:"Let rows about gear that is on the register replace what is known of it, its status apart."`
	Map    map[string]string `placeholder:"HEADING=COLUMN;..." help:"Read a heading of the file as another column: --map 'Asset no=serial'."`
	Format string            `enum:"text,json" default:"text" help:"text or json."`
}

// Run takes the good rows in one transaction. A row that is not good never
// keeps the others out, unless asked to be strict.
func (c *gearImportCmd) Run(g *gearCmd, e *env) error {
	data, err := readBounded(c.File, register.MaxCSV)
	if err != nil {
		return err
	}
	sheet, err := register.ReadCSV(c.File, data, c.Map, g.day())
	if err != nil {
		return err
	}
	serials := make([]string, len(sheet.Rows))
	for i := range sheet.Rows {
		serials[i] = sheet.Rows[i].Item.Serial
	}
	var plan register.Plan
	run := func(ctx context.Context, s register.Store) error {
		var there map[string]register.Item
		if s != nil {
			var err error
			if there, err = s.Items(ctx, serials); err != nil {
				return err
			}
		}
		plan = sheet.Plan(there, c.Update)
		if c.DryRun || c.Strict && len(plan.Problems) > 0 {
			return nil
		}
		entries, err := plan.Entries(register.Stamp{Day: g.day(), By: g.By}, time.Now())
		if err != nil {
			return err
		}
		return s.Write(ctx, entries)
	}
	if c.DryRun && !store.Exists(g.Data) { // and none is made
		err = run(context.Background(), nil)
	} else {
		err = g.with(!c.DryRun, run)
	}
	if err != nil {
		return err
	}
	taken := !(c.Strict && len(plan.Problems) > 0)
	if c.Format == "json" {
		err = writeJSON(e.out, contract.NewGearImport(sheet, &plan, c.DryRun, taken))
	} else {
		c.tell(e.out, sheet, &plan, taken)
	}
	switch {
	case err != nil:
		return err
	case len(plan.Problems) == 0:
		return nil
	case !taken || plan.New+plan.Changed+plan.Same == 0:
		return fault.New(fault.Syntax, "%s: nothing was taken", c.File).Fix("mend the problems listed and import again")
	}
	return errFails
}

func (c *gearImportCmd) tell(w io.Writer, s *register.Sheet, p *register.Plan, taken bool) {
	var columns, facts []string
	for _, col := range s.Columns {
		switch {
		case col.Fact:
			facts = append(facts, col.Name)
		case col.Unit != "":
			columns = append(columns, col.Name+" in "+col.Unit)
		case col.Name != "":
			columns = append(columns, col.Name)
		}
	}
	fmt.Fprintf(w, "columns: %s\n", strings.Join(columns, ", "))
	if len(facts) > 0 {
		fmt.Fprintf(w, "kept as facts: %s\n", strings.Join(facts, ", "))
	}
	for _, f := range p.Problems {
		fmt.Fprintln(w, printable(f.Error()))
	}
	what := "imported"
	switch {
	case !taken:
		what = "nothing imported: one row or more is bad, and --strict was asked for"
	case c.DryRun:
		what = "dry run, nothing written"
	}
	fmt.Fprintf(w, "%s: %s; %d new, %d changed, %d there already, %d refused\n",
		what, many(s.Read, "row"), p.New, p.Changed, p.Same, s.Read-p.New-p.Changed-p.Same)
}

// readBounded reads a file of at most so many bytes, and one more to tell.
func readBounded(path string, most int64) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fault.New(fault.Path, "the file cannot be read").Because(err).Fix("check the path")
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, most+1))
	if err != nil {
		return nil, fault.New(fault.Path, "the file cannot be read").Because(err)
	}
	return data, nil
}

type gearExportCmd struct {
	Out string `short:"o" help:"Output file; the standard output unless given."`
}

// Run writes every item. Cells that a spreadsheet would run as a formula get
// an apostrophe before them, which import takes away.
func (c *gearExportCmd) Run(g *gearCmd, e *env) error {
	return g.with(false, func(ctx context.Context, s register.Store) error {
		items, err := s.Find(ctx, register.Query{})
		if err != nil {
			return err
		}
		return output(e, c.Out, func(w io.Writer) error { return register.WriteCSV(w, items) })
	})
}

// output lets f write to a file, or to the standard output when there is no
// path.
func output(e *env, path string, f func(io.Writer) error) error {
	if path == "" {
		return f(e.out)
	}
	out, err := os.Create(path)
	if err != nil {
		return other(fault.New(fault.Path, "the output cannot be written").Because(err).Fix("check the path"))
	}
	err = f(out)
	if closed := out.Close(); err == nil {
		err = closed
	}
	return err
}

type gearListCmd struct {
	Words  []string `arg:"" optional:"" help:"Words in the serial, kind, location, certificate, rating or facts."`
	Status string   `enum:",in service,quarantined,scrapped" default:"" help:"Only of this status: 'in service', quarantined or scrapped."`
	Format string   `enum:"text,json" default:"text" help:"text or json."`
}

// Run lists items in the order of their serials.
func (c *gearListCmd) Run(g *gearCmd, e *env) error {
	return g.with(false, func(ctx context.Context, s register.Store) error {
		items, err := s.Find(ctx, register.Query{Words: c.Words, Status: register.Status(c.Status)})
		if err != nil {
			return err
		}
		if c.Format == "json" {
			return writeJSON(e.out, contract.NewGearList(items))
		}
		g := grid{align: "llllll"}
		g.row("serial", "kind", "rating", "location", "examine by", "status")
		for i := range items {
			it := &items[i]
			status := string(it.Status)
			if it.Life.Proposed != "" {
				status = "HELD, " + status
			}
			g.row(it.Serial, it.Kind, orUnknown(rating(it)), it.Location, orUnknown(string(it.ExamineBy)), status)
		}
		fmt.Fprintf(e.out, "%s%s\n", g.String(), many(len(items), "item"))
		return nil
	})
}

// many counts things in words.
func many(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}

func rating(it *register.Item) string {
	if it.Rating == nil {
		return ""
	}
	return it.Rating.Text
}

func orUnknown(s string) string {
	if s == "" {
		return "not on record"
	}
	return s
}

type gearShowCmd struct {
	Serial string `arg:"" help:"Serial of the item."`
	Format string `enum:"text,json" default:"text" help:"text or json."`
}

// Run shows an item and holds its history against its checksums.
func (c *gearShowCmd) Run(g *gearCmd, e *env) error {
	return g.with(false, func(ctx context.Context, s register.Store) error {
		it, err := s.Item(ctx, c.Serial)
		if err != nil {
			return err
		}
		events, err := s.History(ctx, c.Serial)
		if err != nil {
			return err
		}
		if again, err := register.Replay(events); err != nil {
			return err
		} else if again.Head != it.Head {
			return fault.New(fault.Disagree, "the item is not where its history ends").In(it.Serial).Fix("restore the register from a backup")
		}
		findings := register.Fitness(&it, g.day())
		if c.Format == "json" {
			shown, err := contract.NewGearShown(&it, g.day(), findings, events)
			if err != nil {
				return err
			}
			return writeJSON(e.out, shown)
		}
		tellItem(e.out, &it)
		fmt.Fprintf(e.out, "\non %s:\n", g.day())
		for _, f := range findings {
			fmt.Fprintf(e.out, "  %s  %s [%s]\n", strings.ToUpper(string(f.Severity)), f.Text, f.Source)
		}
		if len(findings) == 0 {
			fmt.Fprintln(e.out, "  nothing on record stands against its use")
		}
		fmt.Fprintln(e.out, "\nhistory (checksums hold):")
		past := grid{align: "rllll"}
		for i := range events {
			words, err := events[i].Say()
			if err != nil {
				return err
			}
			by := events[i].By
			if by == "" {
				by = "not named"
			}
			past.row(strconv.Itoa(events[i].Version), string(events[i].Day), by, events[i].Name, words)
		}
		fmt.Fprintf(e.out, "%s\n%s\n", past.indented(2), tagGoverns)
		return nil
	})
}

const tagGoverns = "The tag on the gear and its maker's data govern."

func tellItem(w io.Writer, it *register.Item) {
	g := grid{align: "ll"}
	row := func(name, value string) {
		if value != "" {
			g.row(name, value)
		}
	}
	span := func(last, by register.Date) string {
		return fmt.Sprintf("last %s, next by %s", orUnknown(string(last)), orUnknown(string(by)))
	}
	row("serial", it.Serial)
	row("kind", it.Kind)
	for _, k := range slices.Sorted(maps.Keys(it.Facts)) {
		row("  "+k, it.Facts[k])
	}
	if it.Rating != nil {
		row("rating", it.Rating.Text+" = "+it.Rating.Format(quantity.For[quantity.Force](quantity.Metric)))
	} else {
		row("rating", "not on record")
	}
	row("location", it.Location)
	row("made", string(it.Made))
	if it.Certificate != "" {
		row("certificate", strings.TrimSpace(it.Certificate+" "+string(it.CertificateDate)))
	}
	row("examination", span(it.Examined, it.ExamineBy))
	if it.Calibrated != "" || it.CalibrateBy != "" {
		row("calibration", span(it.Calibrated, it.CalibrateBy))
	}
	if l := &it.Life; l.Watched > 0 {
		least := ""
		if l.PeakAtLeast {
			least = " at least"
		}
		row("watched lifts", fmt.Sprintf("%d, load taken %d times, %.2f h on the hook, %d shocks", l.Watched, l.Lifts, l.Hours, l.Shocks))
		row("peaks", fmt.Sprintf("greatest %.2f kN%s, on %s (%s); above 50 %% of the rating in %d lifts, 75 %% in %d, 100 %% in %d; not seen in %d",
			l.Peak/1000, least, orUnknown(string(l.PeakOn)), l.PeakLift, l.Over50, l.Over75, l.Over100, l.Unseen))
		for i := range l.Swings {
			s := &l.Swings[i]
			row(map[bool]string{true: "load cycles"}[i == 0], fmt.Sprintf("%g of %.2f to %.2f kN", s.Count, s.From/1000, s.To/1000))
		}
	}
	if it.Life.Proposed != "" {
		row("HELD", "until somebody confirms or refuses quarantine: "+it.Life.Proposed)
	}
	if it.MendBy != "" {
		row("to mend", it.Mend+", by "+string(it.MendBy))
	}
	for _, f := range it.Files {
		row("attached", f.Name)
	}
	row("status", standing(it))
	fmt.Fprint(w, g.String())
}

type gearDueCmd struct {
	Within int    `default:"30" help:"How many days to look ahead."`
	Format string `enum:"text,json,ics" default:"text" help:"text, json or ics (iCalendar)."`
}

// Run lists what is due, seen from the day.
func (c *gearDueCmd) Run(g *gearCmd, e *env) error {
	on := g.day()
	until := on.AddDays(c.Within)
	return g.with(false, func(ctx context.Context, s register.Store) error {
		dues, err := s.Due(ctx, until)
		if err != nil {
			return err
		}
		switch c.Format {
		case "json":
			return writeJSON(e.out, contract.NewGearDue(dues, on, until))
		case "ics":
			return register.WriteCalendar(e.out, dues, on)
		}
		list := grid{align: "lllllll"}
		list.row("by", "serial", "kind", "location", "due", "when", "status")
		var overdue, soon, unknown int
		for i := range dues {
			d := &dues[i]
			switch {
			case d.By == "":
				unknown++
			case d.By < on:
				overdue++
			default:
				soon++
			}
			list.row(orUnknown(string(d.By)), d.Serial, d.Kind, d.Location, string(d.Duty), d.When(on), string(d.Status))
		}
		fmt.Fprintf(e.out, "%son %s: %d overdue, %d due by %s, %d without a date on record\n", list.String(), on, overdue, soon, until, unknown)
		return nil
	})
}

type gearCalibrateCmd struct {
	Serial      string        `arg:"" help:"Serial of the load cell."`
	Done        register.Date `required:"" placeholder:"DATE" help:"The day it was calibrated."`
	Next        register.Date `required:"" placeholder:"DATE" help:"The day by which the next is due."`
	Certificate string        `help:"Number of the certificate."`
	Laboratory  string        `help:"Who calibrated it."`
	Attach      []string      `placeholder:"FILE" help:"Files to attach."`
}

// Run records a calibration.
func (c *gearCalibrateCmd) Run(g *gearCmd, e *env) error {
	return g.change(e, c.Serial, c.Attach, func(_ *register.Item, files []register.File) (register.Change, error) {
		return register.Calibration{On: c.Done, Next: c.Next, Certificate: c.Certificate, Laboratory: c.Laboratory, Files: files}, nil
	})
}

type gearInspectCmd struct {
	Serial string `arg:"" help:"Serial of the item."`
	Tag    string `required:"" enum:"good,bad" help:"good: the tag is there and can be read; or bad."`
	Latch  string `required:"" enum:"good,bad,none" help:"good: the latch closes and holds; bad; or none: it has no latch."`
	Damage string `required:"" enum:"none,found" help:"none or found."`
	Note   string `help:"What was seen."`
}

// Run records an inspection before use.
func (c *gearInspectCmd) Run(g *gearCmd, e *env) error {
	ticks := map[string]register.Tick{"good": register.Good, "bad": register.Bad}
	latch, damage := ticks[c.Latch], register.Good
	if c.Latch == "none" {
		latch = register.NotApplicable
	}
	if c.Damage == "found" {
		damage = register.Bad
	}
	return g.change(e, c.Serial, nil, func(*register.Item, []register.File) (register.Change, error) {
		return register.Inspection{On: g.day(), By: g.By, Tag: ticks[c.Tag], Latch: latch, Damage: damage, Note: c.Note}, nil
	})
}

// decision is what a change of status needs besides the person.
type decision struct {
	Serial string `arg:"" help:"Serial of the item."`
	Reason string `required:"" help:"Why, in a few words."`
}

func (d *decision) take(g *gearCmd, e *env, c register.Change) error {
	return g.change(e, d.Serial, nil, func(*register.Item, []register.File) (register.Change, error) { return c, nil })
}

type gearQuarantineCmd struct{ decision }

// Run holds an item back.
func (c *gearQuarantineCmd) Run(g *gearCmd, e *env) error {
	return c.take(g, e, register.Quarantine{Reason: c.Reason})
}

type gearReleaseCmd struct{ decision }

// Run puts an item back into service.
func (c *gearReleaseCmd) Run(g *gearCmd, e *env) error {
	return c.take(g, e, register.Release{Reason: c.Reason})
}

type gearConfirmCmd struct {
	Serial string `arg:"" help:"Serial of the item."`
	Reason string `help:"What there is to add."`
}

// Run quarantines an item as a lift asks for.
func (c *gearConfirmCmd) Run(g *gearCmd, e *env) error {
	return (&decision{Serial: c.Serial}).take(g, e, register.Confirming{Reason: c.Reason})
}

type gearRefuseCmd struct{ decision }

// Run leaves an item in service though a lift asks for its quarantine.
func (c *gearRefuseCmd) Run(g *gearCmd, e *env) error {
	return c.take(g, e, register.Refusing{Reason: c.Reason})
}

type gearZeroCheckCmd struct {
	Serial string `arg:"" help:"Serial of the load cell."`
	Found  string `required:"" placeholder:"READING" help:"What it read with nothing on it, with its unit."`
	Good   bool   `negatable:"" required:"" help:"That is its zero; --no-good: it is not."`
}

// Run records what an unloaded cell read.
func (c *gearZeroCheckCmd) Run(g *gearCmd, e *env) error {
	return (&decision{Serial: c.Serial}).take(g, e, register.ZeroCheck{Found: c.Found, Good: c.Good})
}

type gearOverrideCmd struct {
	decision
	Until register.Date `required:"" placeholder:"DATE" help:"Last day on which the override holds."`
	Drift string        `required:"" placeholder:"SHARE" help:"How fast the cell may drift, such as '0.2 % per year'; calibrate works it out of its certificates."`
}

// Run lets a cell be used past its calibration.
func (c *gearOverrideCmd) Run(g *gearCmd, e *env) error {
	var percent float64
	if n, err := fmt.Sscanf(c.Drift+"\x00", "%g %% per year\x00", &percent); err != nil || n != 1 {
		return option("drift", fault.New(fault.Syntax, "%q is no drift", c.Drift).Fix("write it as 0.2 %% per year: of the reading"))
	}
	return c.take(g, e, register.Overriding{Why: c.Reason, Until: c.Until, PerYear: percent / 100})
}

type gearScrapCmd struct{ decision }

// Run ends an item.
func (c *gearScrapCmd) Run(g *gearCmd, e *env) error {
	return c.take(g, e, register.Scrapping{Reason: c.Reason})
}

type gearAttachCmd struct {
	Serial      string        `arg:"" help:"Serial of the item."`
	Files       []string      `arg:"" optional:"" help:"Files to attach, 20 MiB each at most."`
	Certificate string        `help:"Number of the maker's certificate, when this is it."`
	Dated       register.Date `placeholder:"DATE" help:"Date of the certificate."`
}

// Run attaches files to the item itself.
func (c *gearAttachCmd) Run(g *gearCmd, e *env) error {
	return g.change(e, c.Serial, c.Files, func(_ *register.Item, files []register.File) (register.Change, error) {
		return register.Attaching{Certificate: c.Certificate, CertificateDate: c.Dated, Files: files}, nil
	})
}

type gearFetchCmd struct {
	Serial string `arg:"" help:"Serial of the item."`
	Name   string `arg:"" help:"Name of the attachment, as show gives it."`
	Out    string `short:"o" required:"" help:"Output file."`
}

// Run writes out the attachment of that name that was attached last.
func (c *gearFetchCmd) Run(g *gearCmd, e *env) error {
	return g.with(false, func(ctx context.Context, s register.Store) error {
		events, err := s.History(ctx, c.Serial)
		if err != nil {
			return err
		}
		for _, ev := range slices.Backward(events) {
			change, err := ev.Change()
			if err != nil {
				return err
			}
			for _, f := range register.FilesOf(change) {
				if f.Name != c.Name {
					continue
				}
				data, err := s.Get(ctx, f)
				if err != nil {
					return err
				}
				return output(e, c.Out, func(w io.Writer) error { _, err := w.Write(data); return err })
			}
		}
		return fault.New(fault.Reference, "nothing called %s is attached", c.Name).In(c.Serial).Fix("take a name from gear show")
	})
}

type gearLabelsCmd struct {
	Serials []string `arg:"" optional:"" help:"Serials; all gear in service unless given."`
	Out     string   `short:"o" required:"" help:"Output file, .pdf."`
}

// Run prints labels.
func (c *gearLabelsCmd) Run(g *gearCmd, e *env) error {
	if !strings.EqualFold(filepath.Ext(c.Out), ".pdf") {
		return fault.New(fault.Unsupported, "no labels are made as %s", c.Out).Fix("let the name end in .pdf")
	}
	return g.with(false, func(ctx context.Context, s register.Store) error {
		var items []register.Item
		var err error
		if len(c.Serials) == 0 {
			items, err = s.Find(ctx, register.Query{Status: register.InService})
		}
		for _, serial := range c.Serials {
			it, err := s.Item(ctx, serial)
			if err != nil {
				return err
			}
			items = append(items, it)
		}
		if err != nil {
			return err
		}
		if len(items) == 0 {
			return fault.New(fault.Missing, "no gear is in service").Fix("name serials to print labels all the same")
		}
		labels := make([]qr.Label, len(items))
		for i := range items {
			labels[i] = qr.Gear(&items[i])
		}
		return output(e, c.Out, func(w io.Writer) error { return qr.Sheet(w, "Gear labels", labels) })
	})
}

type gearDestroyCmd struct {
	Confirm bool `help:"Destroy what is listed."`
}

// Run goes through the register item by item.
func (c *gearDestroyCmd) Run(g *gearCmd, e *env) error {
	if c.Confirm && g.By == "" {
		return fault.New(fault.Missing, "nobody is named").Fix("say who destroys records: --by NAME")
	}
	return g.with(false, func(ctx context.Context, s register.Store) error {
		items, err := s.Find(ctx, register.Query{})
		if err != nil {
			return err
		}
		var entries []register.Entry
		n := 0
		for i := range items {
			it := &items[i]
			if it.Version == 1 { // entered and nothing more
				continue
			}
			events, err := s.History(ctx, it.Serial)
			if err != nil {
				return err
			}
			list, err := register.Overkept(it, events, g.day())
			if err != nil {
				return err
			}
			if len(list) == 0 {
				continue
			}
			var versions []int
			rules := map[string]bool{}
			for _, r := range list {
				n++
				versions = append(versions, r.Version)
				rules[r.Rule] = true
				fmt.Fprintf(e.out, "%s record %d, %s of %s: %s\n", it.Serial, r.Version, events[r.Version-1].Name, events[r.Version-1].Day, r.Rule)
			}
			entry, err := it.Next(register.Destruction{Versions: versions, Rule: strings.Join(slices.Sorted(maps.Keys(rules)), "; ")},
				register.Stamp{Day: g.day(), By: g.By}, time.Now())
			if err != nil {
				return err
			}
			entries = append(entries, entry)
		}
		if !c.Confirm {
			fmt.Fprintf(e.out, "%s need no longer be kept; nothing was destroyed (--confirm destroys)\n", many(n, "record"))
			return nil
		}
		if err := s.Write(ctx, entries); err != nil {
			return err
		}
		fmt.Fprintf(e.out, "%s destroyed; the checksums stay\n", many(n, "record"))
		return nil
	})
}
