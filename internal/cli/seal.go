package cli

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"plumbhook/alarm"
	"plumbhook/contract"
	"plumbhook/fault"
	"plumbhook/internal/station"
	"plumbhook/lift"
	"plumbhook/logbook"
	"plumbhook/reading"
	"plumbhook/record"
	"plumbhook/record/parquet"
	"plumbhook/record/seal"
	"plumbhook/register"
	sheets "plumbhook/report"
	"plumbhook/verdict"
	"plumbhook/watch"
)

// sealing are the options that seal what a replay went through.
type sealing struct {
	Seal      string        `placeholder:"OUT.zip" help:"Seal plan, check, answer, readings, events and words as one signed record."`
	Data      string        `placeholder:"DIR" help:"Data folder whose key signs and whose chain the record goes into; both are made at first use. Left out: that of the recording, or the user's own. Without --seal: that of the gear register, whose dates and status count, and which --enter writes to."`
	KeyFile   string        `placeholder:"FILE" help:"Sign with this key (PEM, PKCS #8, Ed25519) in place of the data folder's."`
	Sheet     []string      `sep:"none" placeholder:"FILE" help:"Seal this file with it, as sheets/FILE; may be given several times."`
	KeepUntil register.Date `placeholder:"DATE" help:"Have the record say that it is to be kept until this day, beside what the law asks."`

	text []byte `kong:"-"` // of a lift file that is in no folder, as the app's are
}

// signerDir is where a data folder keeps key and chain.
func signerDir(data string) string { return filepath.Join(data, "seal") }

// ownData is the data folder of whoever runs the program.
func ownData() (string, error) {
	dir, err := os.UserConfigDir()
	if err != nil {
		return "", fault.New(fault.Missing, "it is not known where the signing key is").Because(err).Fix("say in which data folder: --data DIR")
	}
	return filepath.Join(dir, "plumbhook"), nil
}

// A sealer gathers a record while a replay runs. A nil one gathers nothing.
type sealer struct {
	sealing
	signer *seal.Signer
	made   bool
	where  string // folder of key and chain
	lift   *lift.Lift
	plan   *verdict.Plan
	engine *watch.Engine
	dir    string // of files on their way

	planned   func(string) record.Measure
	signals   map[string]string // units of channels that send what the cell itself gives
	parquet   *parquet.Writer
	raw       *record.CSVWriter
	corrected *record.CSVWriter
	files     map[string]*os.File
	words     bytes.Buffer // a line for each entry of a person
	live      bytes.Buffer // a line for each event that the watch told then

	risks       []string // what the recording lacked, as was noted then
	readings    uint64
	from, to    reading.Stamp
	differs     bool            // a corrected reading from what came
	unknown     map[string]bool // channels that the plan does not have
	known, cell []reading.Reading
	failed      error
}

// begin looks whether a record can be sealed, before the work is done.
func (c *sealing) begin(readings string, l *lift.Lift, p *verdict.Plan, eng *watch.Engine) (*sealer, error) {
	if c.Seal == "" {
		if c.KeyFile != "" || c.Sheet != nil || c.KeepUntil != "" {
			return nil, fault.New(fault.Missing, "there is nothing to seal into").Fix("say where the record goes: --seal OUT.zip")
		}
		return nil, nil
	}
	if _, err := os.Lstat(c.Seal); !errors.Is(err, fs.ErrNotExist) {
		return nil, fault.New(fault.Duplicate, "there is a file of that name, and a record is never written over").In(c.Seal).Because(err).Fix("give another name")
	}
	for _, path := range c.Sheet {
		if info, err := os.Stat(path); err != nil || !info.Mode().IsRegular() {
			return nil, fault.New(fault.Path, "the sheet cannot be read").In(path).Because(err).Fix("check the path")
		}
	}
	data := c.Data
	if whole, err := filepath.Abs(readings); data == "" && err == nil && isDir(whole) {
		switch {
		case isDir(filepath.Join(whole, "record")):
			data = whole
		case filepath.Base(whole) == "record":
			data = filepath.Dir(whole)
		}
	}
	if data == "" {
		var err error
		if data, err = ownData(); err != nil {
			return nil, err
		}
	}
	s := &sealer{sealing: *c, where: signerDir(data), lift: l, plan: p, engine: eng, files: map[string]*os.File{}, unknown: map[string]bool{}, planned: measures(l), signals: map[string]string{}}
	var err error
	if s.signer, s.made, err = seal.OpenSigner(s.where, c.KeyFile); err != nil {
		return nil, err
	}
	if s.dir, err = os.MkdirTemp(filepath.Dir(c.Seal), ".sealing-*"); err != nil {
		return nil, fault.New(fault.Path, "the record cannot be written there").In(c.Seal).Because(err)
	}
	for _, name := range []string{"readings.parquet", "readings.csv", "corrected.csv"} {
		f, err := os.Create(filepath.Join(s.dir, name))
		if err != nil {
			s.discard()
			return nil, fault.New(fault.Path, "the record cannot be written there").In(c.Seal).Because(err)
		}
		s.files[name] = f
	}
	s.parquet = parquet.NewWriter(s.files["readings.parquet"], s.measures, eng.Corrected)
	s.raw = record.NewCSVWriter(s.files["readings.csv"], s.measures)
	s.corrected = record.NewCSVWriter(s.files["corrected.csv"], func(string) record.Measure { return record.Force })
	return s, nil
}

// measures says in what unit a channel's readings came.
func (s *sealer) measures(ch string) record.Measure {
	if unit, calibrated := s.signals[ch]; calibrated {
		return record.Measure(unit)
	}
	return s.planned(ch)
}

// calibrated takes note of which channels send a signal, where the entry tells.
func (s *sealer) calibrated(en *logbook.Entry) {
	if s == nil {
		return
	}
	units, ok, err := station.SignalsIn(en)
	switch {
	case err != nil:
		s.failed = err
	case ok && s.readings > 0 && !maps.Equal(units, s.signals):
		s.failed = fault.New(fault.Disagree, "what channels send changed in the middle of the lift: a reading would stand in two units under one name").
			Fix("keep the recording as it is: plumbhook export")
	case ok:
		s.signals = units
	}
}

// discard takes away what is on its way.
func (s *sealer) discard() {
	if s == nil {
		return
	}
	for _, f := range s.files {
		f.Close()
	}
	os.RemoveAll(s.dir)
}

// entry takes an entry that the engine goes through.
func (s *sealer) entry(en *logbook.Entry) {
	if s == nil || s.failed != nil {
		return
	}
	line := func(b *bytes.Buffer, v any) {
		text, err := json.Marshal(v)
		s.failed = errors.Join(s.failed, err)
		b.Write(append(text, '\n'))
	}
	switch {
	case en.Kind == logbook.Frame:
		s.failed = s.frame(en)
	case en.Kind == logbook.Tick, en.Kind == logbook.Answer: // of the clock and the watch
	case en.Kind == logbook.Mark && en.Who == "": // a note of the program
		if _, ok, _ := station.SignalsIn(en); ok {
			s.calibrated(en)
			line(&s.words, contract.NewLogEntry(en))
		}
		if en.Says == logbook.AtRisk {
			line(&s.words, contract.NewLogEntry(en))
			if en.Text != "" && len(s.risks) < mostGarbled {
				s.risks = append(s.risks, moment(en.At)+": "+en.Text)
			}
		}
	case en.Kind == logbook.Event:
		var ev alarm.Event
		if err := json.Unmarshal([]byte(en.Text), &ev); err != nil {
			line(&s.live, contract.NewLogEntry(en))
			return
		}
		line(&s.live, contract.NewEvent(&ev))
	default:
		line(&s.words, contract.NewLogEntry(en))
	}
}

func (s *sealer) frame(en *logbook.Entry) error {
	s.known, s.cell = s.known[:0], s.cell[:0]
	for i := range en.Frame.Readings {
		r := &en.Frame.Readings[i]
		if s.readings++; s.readings == 1 {
			s.from, s.to = r.At, r.At
		}
		s.from, s.to = min(s.from, r.At), max(s.to, r.At)
		if s.measures(r.Channel) == "" {
			s.unknown[r.Channel] = true
			continue
		}
		s.known = append(s.known, *r)
		if n, ok := s.engine.Corrected(r); ok {
			own := *r
			own.Value = n
			s.differs = s.differs || n != r.Value
			s.cell = append(s.cell, own)
		}
	}
	own, frame := *en, *en.Frame
	own.Frame = &frame
	frame.Readings = s.known
	err := errors.Join(s.parquet.Entry(en), s.raw.Entry(&own))
	frame.Readings = s.cell
	return errors.Join(err, s.corrected.Entry(&own))
}

// frames passes on the frames of a file, which has no logbook, and takes them.
func (s *sealer) frames(frames iter.Seq2[*reading.Frame, error]) iter.Seq2[*reading.Frame, error] {
	if s == nil {
		return frames
	}
	return func(yield func(*reading.Frame, error) bool) {
		n := uint64(0)
		for f, err := range frames {
			if err == nil {
				n++
				s.entry(&logbook.Entry{N: n, At: f.Arrived, Kind: logbook.Frame, Frame: f})
			}
			if !yield(f, err) {
				return
			}
		}
	}
}

// finish seals what was gathered with the answer of the replay.
func (s *sealer) finish(answer contract.Replay, w *sheets.Watched, now time.Time) (*contract.SealedRecord, string, error) {
	if err := errors.Join(s.failed, s.parquet.Close(), s.raw.Close(), s.corrected.Close()); err != nil {
		return nil, "", err
	}
	list := []seal.Source{seal.Bytes("plan/"+filepath.Base(s.lift.File), s.text)}
	var err error
	if s.text == nil {
		list, err = planFiles(s.lift)
	}
	if err != nil {
		return nil, "", err
	}
	asJSON := func(name string, v any) {
		var b bytes.Buffer
		err = errors.Join(err, writeJSON(&b, v))
		list = append(list, seal.Bytes(name, b.Bytes()))
	}
	asJSON("check.json", contract.NewCheck(s.plan))
	asJSON("result.json", answer)
	var said bytes.Buffer
	for i := range w.Events {
		text, bad := json.Marshal(contract.NewEvent(&w.Events[i]))
		err = errors.Join(err, bad)
		said.Write(append(text, '\n'))
	}
	if err != nil {
		return nil, "", err
	}
	list = append(list, seal.Bytes("events.jsonl", said.Bytes()), seal.Bytes("read-me.txt", []byte(readMe)))
	for name, b := range map[string]*bytes.Buffer{"events-live.jsonl": &s.live, "words.jsonl": &s.words} {
		if b.Len() > 0 {
			list = append(list, seal.Bytes(name, b.Bytes()))
		}
	}
	papers, err := s.papers(w)
	if err != nil {
		return nil, "", err
	}
	list = append(list, papers...)
	for name, f := range s.files {
		if name == "corrected.csv" && !s.differs {
			continue
		}
		size, err := f.Seek(0, io.SeekEnd)
		if err != nil {
			return nil, "", fault.New(fault.Path, "the record cannot be written").Because(err)
		}
		list = append(list, seal.Source{Name: name, SectionReader: io.NewSectionReader(f, 0, size)})
	}
	for _, path := range s.Sheet {
		f, err := os.Open(path)
		if err != nil {
			return nil, "", fault.New(fault.Path, "the sheet cannot be read").In(path).Because(err)
		}
		defer f.Close()
		info, err := f.Stat()
		if err != nil {
			return nil, "", fault.New(fault.Path, "the sheet cannot be read").In(path).Because(err)
		}
		list = append(list, seal.Source{Name: "sheets/" + filepath.Base(path), SectionReader: io.NewSectionReader(f, 0, info.Size())})
	}

	m := &seal.Manifest{
		Sealed: now, Program: "plumbhook " + version(), Title: s.lift.Title, Revision: s.lift.Revision, Plan: s.lift.SHA256,
		From: moment(s.from), To: moment(s.to), Readings: s.readings, Missing: append([]string{}, answer.Garbled...), Keep: seal.KeepUntil(s.lift.Rulebook, now),
	}
	m.Missing = append(m.Missing, s.risks...)
	if s.readings == 0 {
		m.From, m.To = "", ""
		m.Missing = append(m.Missing, "there is no reading at all")
	}
	for _, ch := range slices.Sorted(maps.Keys(s.unknown)) {
		m.Missing = append(m.Missing, ch+" is not in the plan, so that its unit is not known: its readings are in readings.parquet alone")
	}
	if s.KeepUntil != "" {
		m.Keep = append(m.Keep, seal.Keep{Until: string(s.KeepUntil), Rule: "set when the record was sealed", Source: "whoever sealed it"})
	}
	rep, err := s.signer.Seal(s.Seal, m, list)
	if err != nil {
		return nil, "", err
	}
	return contract.NewSealed(rep), s.told(rep), nil
}

// papers are the sheets of the lift, printed from what is sealed with them: the
// same plan and readings give the same bytes.
func (s *sealer) papers(w *sheets.Watched) (list []seal.Source, err error) {
	o := sheets.Options{Program: "plumbhook " + version()}
	if at := moment(s.from); s.readings > 0 && !strings.HasSuffix(at, " s") {
		o.On = register.DateOf(s.from.Time().UTC())
	}
	pdf, err := sheets.LiftPlan(s.plan, o)
	if err != nil {
		return nil, err
	}
	list = append(list, seal.Bytes("printed/lift-plan.pdf", pdf))
	for kind, name := range map[string]string{"customer": "printed/customer-report.pdf", "record": "printed/full-record.pdf"} {
		if pdf, err = sheets.OfWatched(kind, w, 0, o); err != nil {
			return nil, err
		}
		list = append(list, seal.Bytes(name, pdf))
	}
	return list, nil
}

// moment writes the time of a reading: a date, or seconds of a recording that
// counts from zero.
func moment(at reading.Stamp) string {
	if year := 365 * 24 * reading.Seconds(3600); -year < at && at < year {
		return fmt.Sprintf("%g s", at.Since(0))
	}
	return at.Time().Format(time.RFC3339Nano)
}

// told says where the record is and what to note down.
func (s *sealer) told(rep *seal.Report) string {
	var b strings.Builder
	m := rep.Manifest
	fmt.Fprintf(&b, "sealed     %s, record %d of %s\n", s.Seal, m.Number, s.where)
	fmt.Fprintf(&b, "head       %s: note it down where nobody can change it\n", rep.Head)
	if s.made {
		fmt.Fprintf(&b, "key        %x, made just now: give it to whoever is to verify\n", []byte(rep.Signer))
	} else {
		fmt.Fprintf(&b, "key        %x\n", []byte(rep.Signer))
	}
	b.WriteString(keepText(m.Keep))
	for _, what := range m.Missing {
		fmt.Fprintf(&b, "lacks      %s\n", what)
	}
	return b.String()
}

func keepText(list []seal.Keep) string {
	var b strings.Builder
	for _, k := range list {
		fmt.Fprintf(&b, "keep       at least until %s: %s (%s)\n", k.Until, k.Rule, k.Source)
	}
	return b.String()
}

// planFiles gives the lift file as plan/NAME, and beside it every file that it
// names.
func planFiles(l *lift.Lift) ([]seal.Source, error) {
	data, err := os.ReadFile(l.File)
	if err != nil {
		return nil, fault.New(fault.Path, "the lift file cannot be read").Because(err).Fix("check the path")
	}
	root, err := os.OpenRoot(filepath.Dir(l.File))
	if err != nil {
		return nil, fault.New(fault.Path, "the lift file's folder cannot be opened").Because(err).Fix("check the path")
	}
	defer root.Close()
	seen := &seenFS{FS: root.FS(), opened: map[string]bool{}}
	again, err := lift.Read(l.File, seen, data)
	if err != nil {
		return nil, err
	}
	if again.SHA256 != l.SHA256 {
		return nil, fault.New(fault.Disagree, "the lift file was changed meanwhile").Fix("seal again")
	}
	list := []seal.Source{seal.Bytes("plan/"+filepath.Base(l.File), data)}
	for _, name := range slices.Sorted(maps.Keys(seen.opened)) {
		b, err := fs.ReadFile(root.FS(), name)
		if err != nil {
			return nil, fault.New(fault.Path, "a file that the plan names cannot be read").In(name).Because(err)
		}
		list = append(list, seal.Bytes("plan/"+name, b))
	}
	return list, nil
}

// seenFS remembers what was opened.
type seenFS struct {
	fs.FS
	opened map[string]bool
}

// Open opens a file and remembers it.
func (s *seenFS) Open(name string) (fs.File, error) {
	f, err := s.FS.Open(name)
	if err == nil {
		s.opened[name] = true
	}
	return f, err
}

// stretch finds the last lift in a recording that was watched on a plan, as
// its first entry and the one after its last; both 0 when the recording names
// no plan. others tells that it names only other plans.
func stretch(r *record.Reader, sha string) (first, after uint64, others bool) {
	for en, err := range r.From(0) {
		if err != nil || en.Kind != logbook.Plan {
			continue
		}
		switch {
		case en.Text == sha:
			first, after = en.N, 0
		case first != 0 && after == 0:
			after = en.N
		default:
			others = true
		}
	}
	return first, after, others && first == 0
}

// readMe goes into every record.
var readMe = `This is the sealed record of a lift.

plan/              the lift file, and the files that it names
check.json         what the plan comes to: tensions, verdict, findings
result.json        what the readings come to: phases, alarms, weight, causes
readings.parquet   every reading as it came, with what it comes to by
                   calibration and tare (corrected_N)
readings.csv       the readings as they came, of the channels in the plan
corrected.csv      where calibration or tare changed them: what they come to
events.jsonl       what the alarms say to these readings, a line each
events-live.jsonl  what the crew was told then, where that was recorded
words.jsonl        what persons did and said, the calibrations in force, what
                   the recording lacked then; where that was recorded
printed/           lift plan, customer report and full record as PDF, printed
                   from the files above: the same input gives the same bytes
sheets/            papers that were put in
signer.pem         the public key of whoever sealed it
manifest.json      size and SHA-256 of each file and of each 64 KiB of it
manifest.sig       Ed25519 signature of manifest.json

Whether a byte was changed: plumbhook verify RECORD.zip --key signer.pem, with
a signer.pem that came another way than this one. Or, with general tools:
sha256sum on every file against manifest.json, and
  openssl pkeyutl -verify -pubin -inkey signer.pem -rawin -in manifest.json -sigfile manifest.sig

` + verdict.Cautions + "\n"
