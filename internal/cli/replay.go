package cli

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
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
	"plumbhook/register"
	sheets "plumbhook/report"
	"plumbhook/verdict"
	"plumbhook/watch"
)

type replayCmd struct {
	Readings string        `arg:"" help:"Readings CSV (t,channel,value_N or t,channel,value,unit), or the folder of a recording, or of what serve kept."`
	Lift     string        `required:"" placeholder:"FILE" help:"Lift file that the readings belong to."`
	Format   string        `enum:"text,json" default:"text" help:"text or json."`
	Enter    bool          `help:"Write what the gear bore into the register of --data, once for a recording; without it only what would be written is told."`
	By       string        `placeholder:"NAME" help:"Who has it written, with --enter."`
	On       register.Date `placeholder:"DATE" help:"Day of the lift, where the readings do not say."`
	Cycles   bool          `help:"Also count the load cycles of every leg, by rainflow."`
	sealing
}

// Help says what comes of it.
func (*replayCmd) Help() string {
	return `Goes through readings with the engine of the live watch, faster than they came, and says what it would have said.

Exit status: 0 no stop was raised; 1 a stop was raised; 2 the input is invalid or cannot be read; 3 anything else.`
}

// Run goes through the readings.
func (c *replayCmd) Run(e *env) error {
	switch {
	case c.Enter && c.Seal != "":
		return option("enter", fault.New(fault.Disagree, "a record is sealed, or its gear is entered, not both at once").Fix("do one after the other"))
	case c.Enter && c.Data == "":
		return option("enter", fault.New(fault.Missing, "no register is named").Fix("name its folder with --data"))
	case c.Enter && c.By == "":
		return option("enter", fault.New(fault.Missing, "nobody is named").Fix("say who has it written: --by NAME"))
	}
	gearDir := "" // a record is sealed with what its own files say
	if c.Seal == "" {
		gearDir = c.Data
	}
	l, gear, err := registered{gearDir, c.On}.read(c.Lift)
	if err != nil {
		return err
	}
	p, err := verdict.CheckWith(l, gear)
	if err != nil {
		return err
	}
	var take func(*watch.Engine, *contract.Replay) (string, error)
	if gearDir != "" {
		take = func(eng *watch.Engine, out *contract.Replay) (string, error) { return c.take(eng, l, out) }
	}
	out, told, err := c.through(c.Readings, p, c.Cycles, take)
	if err != nil {
		return err
	}
	if c.Format == "json" {
		err = writeJSON(e.out, out)
	} else {
		var b bytes.Buffer
		replayText(&b, &out)
		b.WriteString(told)
		err = write(e.out, []byte(printable(b.String())))
	}
	if err != nil {
		return err
	}
	if slices.ContainsFunc(out.Alarms, func(a contract.ReplayAlarm) bool { return a.Severity == string(alarm.Stop) }) {
		return errFails
	}
	return nil
}

// through goes through readings with the plan that they belong to, and seals
// them where that is asked for. Load cycles are counted on demand. What take, if
// any, and the seal tell is told.
func (c *sealing) through(readings string, p *verdict.Plan, counts bool, take func(*watch.Engine, *contract.Replay) (string, error)) (out contract.Replay, told string, err error) {
	l := p.Lift
	recording := isDir(readings)
	curves := station.Curves{}
	eng, err := watch.New(p, watch.Options{Later: recording, Curves: curves})
	if err != nil {
		return out, "", err
	}
	s, err := c.begin(readings, l, p, eng)
	if err != nil {
		return out, "", err
	}
	defer s.discard()
	var events []alarm.Event
	var garbled []string
	var cycles *cycleCount
	var traced func(*reading.Frame)
	w := &sheets.Watched{Plan: p, Trace: sheets.Trace{}}
	if counts {
		cycles = newCycleCount(l, p, curves)
	}
	if s != nil {
		traced = tracing(eng, w)
	}
	see := func(f *reading.Frame) {
		cycles.take(f)
		if traced != nil {
			traced(f)
		}
	}
	said := func(ev alarm.Event) { events = append(events, ev) }
	if recording {
		garbled, err = recorded(eng, curves, readings, l.SHA256, said, s, see)
	} else {
		garbled, err = fromCSV(eng, l, readings, said, s, see)
	}
	if err != nil {
		return out, "", err
	}
	res := eng.Finish()
	out = contract.NewReplay(eng, &res, events)
	out.Title, out.Revision, out.SHA256, out.Cautions = l.Title, l.Revision, l.SHA256, verdict.Cautions
	if garbled != nil {
		out.Garbled = garbled
	}
	out.Cycles = cycles.finish()
	if take != nil {
		if told, err = take(eng, &out); err != nil {
			return out, "", err
		}
	}
	if s != nil {
		sealed := ""
		w.Events, w.Garbled = events, garbled
		ended(w, eng, res)
		out.Sealed, sealed, err = s.finish(out, w, time.Now())
		told += sealed
	}
	return out, told, err
}

func isDir(path string) bool {
	info, err := os.Stat(path)
	return err == nil && info.IsDir()
}

// measures says what the channels of a lift measure.
func measures(l *lift.Lift) func(string) record.Measure {
	of := map[string]record.Measure{}
	for i := range l.Legs {
		if cell, _ := l.Legs[i].CellAt(); cell != nil {
			of[cell.Channel] = record.Force
		}
	}
	kinds := map[string]record.Measure{"hook height": record.Length, "wind speed": record.Speed, "crane total": record.Force, "tilt": record.Angle}
	for _, c := range l.Channels {
		of[c.Name] = kinds[c.Kind]
	}
	return func(ch string) record.Measure { return of[ch] }
}

// mostGarbled is how many rows that could not be read are told one by one.
const mostGarbled = 50

// fromCSV goes through a file; s and see take each frame before the engine does,
// where they are not nil.
func fromCSV(eng *watch.Engine, l *lift.Lift, path string, said func(alarm.Event), s *sealer, see func(*reading.Frame)) (garbled []string, err error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fault.New(fault.Path, "the readings cannot be read").In(path).Because(err)
	}
	defer f.Close()
	frames := record.CSV{Name: path, Measures: measures(l)}.Read(bufio.NewReaderSize(f, 1<<20))
	err = watch.Play(eng, s.frames(noting(frames, &garbled, see)), said)
	return garbled, err
}

// noting keeps what could not be read of the frames that go by, and shows them.
func noting(frames iter.Seq2[*reading.Frame, error], garbled *[]string, see func(*reading.Frame)) iter.Seq2[*reading.Frame, error] {
	return func(yield func(*reading.Frame, error) bool) {
		for f, err := range frames {
			if err == nil && len(*garbled) < mostGarbled {
				*garbled = append(*garbled, f.Garbled...)
			}
			if err == nil && see != nil {
				see(f)
			}
			if !yield(f, err) {
				return
			}
		}
	}
}

// recordIn is the folder of a recording itself, also where that of what serve
// kept is given.
func recordIn(dir string) string {
	if own := filepath.Join(dir, "record"); isDir(own) {
		return own
	}
	return dir
}

// recorded goes through the entries of a recording as they were entered: of the
// last lift on the plan where the recording tells lifts apart. It goes by the
// calibrations that are noted in it: curves are those of the engine. Where the
// beginning is gone, the first note that is left holds for what comes before it.
func recorded(eng *watch.Engine, curves station.Curves, dir, plan string, said func(alarm.Event), s *sealer, see func(*reading.Frame)) (missing []string, err error) {
	dir = recordIn(dir)
	r, err := record.NewReader(dir)
	if err != nil {
		return nil, err
	}
	first, after, others := stretch(r, plan)
	if others && s != nil {
		return nil, fault.New(fault.Disagree, "the recording is of other plans than this").In(dir).Fix("give the lift file that was watched, unchanged")
	}
	noted := false
	for en, err := range r.From(0) {
		if err != nil {
			continue
		}
		if noted && en.N > first {
			break
		}
		if now, ok, err := station.CurvesIn(en); err != nil {
			return nil, err
		} else if ok {
			clear(curves)
			maps.Copy(curves, now)
			s.calibrated(en)
			noted = true
		}
	}
	for en, err := range r.From(first) {
		if err != nil {
			missing = append(missing, err.Error())
			continue
		}
		if after != 0 && en.N >= after {
			break
		}
		s.entry(en)
		if en.Kind == logbook.Frame && see != nil {
			see(en.Frame)
		}
		if en.Kind == logbook.Event {
			continue // said anew
		}
		if now, ok, err := station.CurvesIn(en); err != nil {
			return nil, err
		} else if ok {
			clear(curves)
			maps.Copy(curves, now)
		}
		for _, ev := range eng.Apply(en) {
			said(ev)
		}
	}
	return missing, nil
}

// replayText writes the answer for people.
func replayText(w io.Writer, r *contract.Replay) {
	line := func(format string, args ...any) {
		fmt.Fprintln(w, strings.TrimRight(fmt.Sprintf(format, args...), " "))
	}
	kN := func(n *float64) string {
		if n == nil {
			return "unknown"
		}
		return fmt.Sprintf("%.2f kN", *n/1000)
	}
	line("%s, revision %s", r.Title, r.Revision)
	stops := 0
	for _, a := range r.Alarms {
		if a.Severity == string(alarm.Stop) {
			stops++
		}
	}
	switch {
	case stops > 0:
		line("STOP, %d times", stops)
	case len(r.Alarms) > 0:
		line("CAUTION, no stop")
	default:
		line("WITHIN PLAN")
	}
	line("")
	for _, a := range r.Alarms {
		line("%8.2f s  %-7s  %s", a.TS, strings.ToUpper(a.Severity), a.Text)
	}
	if len(r.Alarms) > 0 {
		line("")
	}
	for i, c := range r.Diagnosis {
		if i > 0 && c.Probability < 0.02 {
			break
		}
		same := ""
		if len(c.SameAs) > 0 {
			same = " (cannot be told from " + strings.Join(c.SameAs, ", ") + ")"
		}
		line("%-10s %3.0f %%  %s%s: %s", map[bool]string{true: "likely", false: ""}[i == 0], 100*c.Probability, strings.ReplaceAll(c.Cause, "_", " "), same, c.Text)
	}
	if r.WouldTell != "" {
		line("would tell more: %s", r.WouldTell)
	}
	line("")
	least := ""
	if r.Estimate.AtLeast {
		least = "at least "
	}
	if r.Estimate.WeightN == nil {
		line("weight     cannot be told")
	} else {
		u := ""
		if r.Estimate.WeightU95N != nil && !r.Estimate.AtLeast {
			u = fmt.Sprintf(" ± %s (95 %%)", kN(r.Estimate.WeightU95N))
		}
		line("weight     %s%s%s, the load alone", least, kN(r.Estimate.WeightN), u)
	}
	if c := r.Estimate.CGM; c != nil && !r.Estimate.AtLeast {
		line("CG         %.3f %.3f %.3f m, load axes, each ± %.0f %.0f %.0f mm", c[0], c[1], c[2], 1000*r.Estimate.CGU95M[0], 1000*r.Estimate.CGU95M[1], 1000*r.Estimate.CGU95M[2])
	}
	if r.DynamicFactor != nil {
		line("dynamic    %.2f, greatest total in the air over the steady one", *r.DynamicFactor)
	}
	line("")
	for _, p := range r.Phases {
		line("%8.1f to %8.1f s  %-12s %s", p.FromS, p.ToS, strings.ReplaceAll(p.Phase, "_", " "), p.Evidence)
	}
	line("")
	names := make([]string, 0, len(r.Legs))
	for n := range r.Legs {
		names = append(names, n)
	}
	slices.Sort(names)
	line("%-12s %-12s %-12s %s", "leg, gross", "steady", "peak", "readings")
	for _, n := range names {
		l := r.Legs[n]
		least := ""
		if l.PeakAtLeast {
			least = " at least"
		}
		line("%-12s %-12s %-12s %d%s", n, kN(l.SteadyN), kN(l.PeakN)+least, l.Readings, map[bool]string{true: "", false: ", " + l.Quality}[l.Quality == "good"])
	}
	for _, c := range r.Cycles {
		line("")
		least := map[bool]string{true: ", at least"}[c.AtLeast]
		line("load cycles of %s%s, swings from %s up; greatest range %s", c.Leg, least, kN(&c.SmallestN), kN(&c.GreatestN))
		for _, k := range c.Classes {
			line("  %8.1f of %s to %s", k.Count, kN(&k.FromN), kN(&k.ToN))
		}
	}
	if n := len(r.Garbled); n > 0 {
		line("")
		line("left out, as they could not be read:")
		for _, g := range r.Garbled {
			line("  %s", g)
		}
	}
	for ch, n := range r.Unplanned {
		line("%s is in the readings %d times and not in the plan", ch, n)
	}
	line("")
	line("%s", verdict.Cautions)
}
