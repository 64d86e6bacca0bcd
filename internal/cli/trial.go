package cli

import (
	"fmt"
	"math"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"

	"plumbhook/alarm"
	"plumbhook/fault"
	"plumbhook/internal/rehearse"
	"plumbhook/verdict"
	"plumbhook/watch"
)

type trialCmd struct {
	Files  []string `arg:"" help:"Lift files."`
	Lifts  int      `default:"20" help:"How many lifts of each cause."`
	Normal int      `default:"0" help:"How many lifts as planned; as --lifts when 0."`
	Seed   uint64   `default:"1" help:"Of the first lift; each has one of its own."`
	Cause  []string `help:"Only these causes."`
	Misses bool     `help:"List every lift whose first answer was wrong."`
	Limits bool     `help:"Print from what size each fault of these lifts shows, and play nothing."`
}

// Help says what the columns are.
func (*trialCmd) Help() string {
	return `Plays virtual lifts with a known fault, each above the detection limit of its cause on that lift, through the engine of the watch, and counts how often the explanation was right: first, and among those that it says it cannot tell from the first (in set). Confident: answers given 0.9 or more, and how many of them were right. Band: lifts whose true weight lay inside the stated 95 % band.`
}

// judged is one virtual lift and what was said of it.
type judged struct {
	file, cause, detail string
	seed                uint64
	said                []string // causes, first first
	probability         float64
	first, set          bool
	stop                string // first stop, and when
	weighed, inside     bool
	below               bool // the fault came out smaller than its limit
	err                 error
}

// Run plays and counts.
func (c *trialCmd) Run(e *env) error {
	var all []judged
	type job struct {
		p      *verdict.Plan
		limits []rehearse.Limit
		cause  string
		seed   uint64
		file   string
	}
	var jobs []job
	var sizes strings.Builder
	for k, f := range c.Files {
		l, err := read(f)
		if err != nil {
			return err
		}
		p, err := verdict.Check(l)
		if err != nil {
			return err
		}
		limits, err := rehearse.Limits(l)
		if err != nil {
			return err
		}
		if c.Limits {
			sizesOf(&sizes, filepath.Base(f), limits)
			continue
		}
		for i, cause := range rehearse.Causes() {
			if len(c.Cause) > 0 && !slices.Contains(c.Cause, cause.Name) {
				continue
			}
			n := c.Lifts
			if cause.Name == "as_planned" && c.Normal > 0 {
				n = c.Normal
			}
			for s := range n {
				jobs = append(jobs, job{p, limits, cause.Name, c.Seed + uint64(1000000*k+10000*i+s), filepath.Base(f)})
			}
		}
	}
	if c.Limits {
		return write(e.out, []byte(printable(sizes.String())))
	}
	if len(jobs) == 0 {
		return fault.New(fault.Reference, "no cause is called %s", strings.Join(c.Cause, ", ")).Fix("plumbhook rehearse FILE --cause list -o - prints them")
	}
	all = make([]judged, len(jobs))
	var next sync.Mutex
	at := 0
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for {
				next.Lock()
				i := at
				at++
				next.Unlock()
				if i >= len(jobs) {
					return
				}
				j := jobs[i]
				all[i] = try(j.p, j.limits, j.cause, j.seed)
				all[i].file = j.file
			}
		})
	}
	wg.Wait()
	return write(e.out, []byte(printable(tally(all, c.Misses))))
}

// sizesOf writes from what size the faults of a lift show.
func sizesOf(b *strings.Builder, file string, limits []rehearse.Limit) {
	fmt.Fprintf(b, "| %s | unit | shows from | told from all others from | the same without a stop on the ground | the same as |\n|---|---|---|---|---|---|\n", file)
	size := func(x float64) string {
		if math.IsInf(x, 1) {
			return "never"
		}
		return fmt.Sprintf("%.3g", x)
	}
	for _, l := range limits {
		unstopped := ""
		switch u := l.Unstopped; {
		case u == nil:
		case !slices.Equal(u.Same, l.Same):
			unstopped = "never"
		default:
			unstopped = size(u.Least())
		}
		fmt.Fprintf(b, "| %s | %s | %s | %s | %s | %s |\n", l.Cause, l.Unit, size(l.Detect), size(l.Name), unstopped, strings.Join(l.Same, ", "))
	}
	b.WriteString("\n")
}

// try plays one lift.
func try(p *verdict.Plan, limits []rehearse.Limit, cause string, seed uint64) judged {
	j := judged{cause: cause, seed: seed}
	r, err := rehearse.New(p.Lift, seed, cause, rehearse.Options{Limits: limits})
	if err != nil {
		j.err = err
		return j
	}
	j.detail, j.below = r.Detail, r.Below
	if j.below {
		return j
	}
	eng, err := watch.New(p, watch.Options{})
	if err == nil {
		err = watch.Play(eng, r.Frames(), func(ev alarm.Event) {
			if ev.Change == alarm.Raised && ev.Severity == alarm.Stop && j.stop == "" {
				j.stop = fmt.Sprintf("%s at %.1f s", ev.Kind, ev.At.Since(0))
			}
		})
	}
	if err != nil {
		j.err = err
		return j
	}
	res := eng.Finish()
	for _, c := range res.Causes {
		j.said = append(j.said, c.Name)
	}
	if len(res.Causes) > 0 {
		top := res.Causes[0]
		j.probability = top.Probability
		j.first = top.Name == cause
		j.set = j.first || slices.Contains(top.SameAs, cause)
	}
	x := res.Estimate
	j.weighed = !x.AtLeast && !math.IsNaN(x.WeightN) && x.WeightN != 0
	j.inside = j.weighed && math.Abs(x.WeightN-r.Truth.WeightN) <= x.WeightU95N
	return j
}

// tally counts by cause.
func tally(all []judged, misses bool) string {
	var b strings.Builder
	fmt.Fprintf(&b, "| cause | lifts | right first | in set | confident | of them right | stopped | weight in its band |\n|---|---|---|---|---|---|---|---|\n")
	var sure, sureRight, allWeighed, allInside, below int
	for _, cause := range rehearse.Causes() {
		var n, first, set, conf, right, stopped, weighed, inside, impossible int
		for i := range all {
			j := &all[i]
			switch {
			case j.cause != cause.Name:
				continue
			case j.err != nil:
				impossible++
				continue
			case j.below:
				below++
				continue
			}
			n++
			first += count(j.first)
			set += count(j.set)
			conf += count(j.probability >= 0.9)
			right += count(j.probability >= 0.9 && j.first)
			stopped += count(j.stop != "")
			weighed += count(j.weighed)
			inside += count(j.inside)
		}
		sure, sureRight = sure+conf, sureRight+right
		allWeighed, allInside = allWeighed+weighed, allInside+inside
		if n > 0 {
			fmt.Fprintf(&b, "| %s | %d | %s | %s | %d | %s | %d | %s of %d |\n", cause.Name, n, outOf(first, n), outOf(set, n), conf, outOf(right, conf), stopped, outOf(inside, weighed), weighed)
		}
		if impossible > 0 && n == 0 {
			for i := range all {
				if all[i].cause == cause.Name {
					fmt.Fprintf(&b, "| %s | 0 | | | | | | %v |\n", cause.Name, all[i].err)
					break
				}
			}
		}
	}
	fmt.Fprintf(&b, "\nanswers given 0.9 or more: %d, right %s\n", sure, outOf(sureRight, sure))
	fmt.Fprintf(&b, "weights claimed: %d, inside their band %s\n", allWeighed, outOf(allInside, allWeighed))
	if below > 0 {
		fmt.Fprintf(&b, "not counted, since the fault came out smaller than its limit: %d\n", below)
	}
	if misses {
		for i := range all {
			if j := &all[i]; j.err == nil && !j.below && (!j.first || j.cause == "as_planned" && j.stop != "") {
				fmt.Fprintf(&b, "%s %s seed %d (%s): said %s %.2f%s\n", j.file, j.cause, j.seed, j.detail, strings.Join(j.said[:min(3, len(j.said))], ", "), j.probability, map[bool]string{true: ", stop " + j.stop, false: ""}[j.stop != ""])
			}
		}
	}
	return b.String()
}

func count(b bool) int {
	if b {
		return 1
	}
	return 0
}

func outOf(k, n int) string {
	if n == 0 {
		return "-"
	}
	if k < n && 200*k > 199*n {
		return fmt.Sprintf("%.1f %%", 100*float64(k)/float64(n)) // no rounding up to all
	}
	return fmt.Sprintf("%.0f %%", 100*float64(k)/float64(n))
}
