package fleet

import (
	"cmp"
	"maps"
	"slices"
	"strings"
	"time"

	"plumbhook/job"
	"plumbhook/register"
)

// Answer is a named person's word on copies that contradict each other. It holds
// for the heads that the person saw: whatever is written after it, to any of them
// but the one that was taken, opens the question again.
type Answer struct {
	Kind  Kind
	ID    string
	Heads []string // all that were there, sorted
	Take  string   // the one that holds
	By    string
	At    time.Time
	Why   string
}

// Meeting is what copies of one plan, or of one item of gear, come to.
type Meeting struct {
	Kind   Kind
	ID     string
	Title  string
	Copies []Copy
	// Fork is the number of the first revision or event that is not the same in
	// all copies that have one; 0: no copy contradicts another, some may only be
	// behind.
	Fork   int
	Heads  []string // the ends that nothing goes on from, sorted
	Fields []Field  // of gear that forked: what the copies do not agree on
	Answer *Answer  // the latest that holds; nil: none does
}

// Open tells whether a named person has to answer.
func (m *Meeting) Open() bool { return m.Fork > 0 && m.Answer == nil }

// Copy is how one place has it.
type Copy struct {
	Site   string
	Head   string // checksum of its newest revision or event, hexadecimal
	Length int    // revisions or events
	Behind bool   // another copy goes on from where this one ends
	By     string // of the newest
	At     time.Time
	State  string
}

// Field is something that copies say differently.
type Field struct {
	Name string
	Says map[string]string // by site
}

// meet lays histories beside each other.
func meet(m *Meeting, chains map[string][]string, answers []Answer) {
	sites := slices.Sorted(maps.Keys(chains))
	for i, a := range sites {
		for _, b := range sites[i+1:] {
			x, y := chains[a], chains[b]
			n := min(len(x), len(y))
			for k := range n {
				if x[k] != y[k] {
					if m.Fork == 0 || k+1 < m.Fork {
						m.Fork = k + 1
					}
					break
				}
			}
		}
	}
	for i := range m.Copies {
		c := &m.Copies[i]
		own := chains[c.Site]
		for site, other := range chains {
			if site != c.Site && len(other) > len(own) && slices.Equal(other[:len(own)], own) {
				c.Behind = true
			}
		}
		if !c.Behind && !slices.Contains(m.Heads, c.Head) {
			m.Heads = append(m.Heads, c.Head)
		}
	}
	slices.Sort(m.Heads)
	for i := range answers {
		a := &answers[i]
		if a.Kind == m.Kind && a.ID == m.ID && holds(a, m, chains) && (m.Answer == nil || a.At.After(m.Answer.At)) {
			m.Answer = a
		}
	}
}

// holds tells whether an answer covers the heads that are there now: each was
// seen, or goes on from the one that was taken.
func holds(a *Answer, m *Meeting, chains map[string][]string) bool {
	for _, c := range m.Copies {
		if c.Behind || slices.Contains(a.Heads, c.Head) || slices.Contains(chains[c.Site], a.Take) {
			continue
		}
		return false
	}
	return true
}

// PlanCopy is a plan as one place has it.
type PlanCopy struct {
	Site string
	Job  job.Job
}

// MeetPlans compares the copies of each plan. A revision is what its checksum
// says and is never altered; a copy that only lacks another's later ones is
// behind; two that go on differently from the same revision contradict each other.
func MeetPlans(copies []PlanCopy, answers []Answer) []Meeting {
	return meetings(copies, func(c *PlanCopy) string { return c.Job.ID }, func(id string, of []PlanCopy) Meeting {
		m := Meeting{Kind: Plan, ID: id}
		chains := map[string][]string{}
		for i := range of {
			j := &of[i].Job
			newest := j.Newest()
			for k := range j.Revisions {
				chains[of[i].Site] = append(chains[of[i].Site], j.Revisions[k].SHA256)
			}
			m.Title = cmp.Or(m.Title, j.Title())
			m.Copies = append(m.Copies, Copy{Site: of[i].Site, Head: newest.SHA256, Length: len(j.Revisions), By: newest.Who, At: newest.At, State: string(j.State)})
		}
		meet(&m, chains, answers)
		return m
	})
}

// MeetGear compares the copies of each item by their histories. Histories are
// never mixed, for each is a chain of checksums of its own; all of them stay to be
// read. Where they fork, what they say differently is listed.
func MeetGear(copies []GearCopy, answers []Answer) []Meeting {
	return meetings(copies, func(c *GearCopy) string { return register.Key(c.Item.Serial) }, func(id string, of []GearCopy) Meeting {
		m := Meeting{Kind: Gear, ID: id}
		chains := map[string][]string{}
		for i := range of {
			c := &of[i]
			head := Copy{Site: c.Site, Length: len(c.Events), State: string(c.Item.Status)}
			for k := range c.Events {
				chains[c.Site] = append(chains[c.Site], hexOf(c.Events[k].Sum))
			}
			if n := len(c.Events); n > 0 {
				head.Head, head.By, head.At = hexOf(c.Events[n-1].Sum), c.Events[n-1].By, c.Events[n-1].At
			}
			m.Title = cmp.Or(m.Title, c.Item.Kind)
			m.Copies = append(m.Copies, head)
		}
		meet(&m, chains, answers)
		if m.Fork > 0 {
			m.Fields = fields(of)
		}
		return m
	})
}

// Careful is the item as whoever does not know better has to take it: of copies
// that contradict each other the worst status and the earliest days. An item that
// is held back anywhere is held back.
func Careful(of []GearCopy) register.Item {
	rank := map[register.Status]int{register.InService: 0, register.Quarantined: 1, register.Scrapped: 2}
	it := of[0].Item
	sooner := func(day *register.Date, other register.Date) {
		if other < *day { // no day on record is due at once
			*day = other
		}
	}
	for _, c := range of[1:] {
		if rank[c.Item.Status] > rank[it.Status] {
			it.Status, it.Reason, it.StatusBy, it.StatusOn = c.Item.Status, c.Item.Reason, c.Item.StatusBy, c.Item.StatusOn
		}
		sooner(&it.ExamineBy, c.Item.ExamineBy)
		sooner(&it.CalibrateBy, c.Item.CalibrateBy)
		if c.Item.MendBy != "" && (it.MendBy == "" || c.Item.MendBy < it.MendBy) {
			it.Mend, it.MendBy = c.Item.Mend, c.Item.MendBy
		}
	}
	return it
}

// fields lists what copies say differently, by name.
func fields(of []GearCopy) (list []Field) {
	said := map[string]map[string]string{}
	for i := range of {
		it := &of[i].Item
		says := map[string]string{
			"kind": it.Kind, "location": it.Location, "status": strings.TrimSpace(string(it.Status) + " " + it.Reason), "made": string(it.Made), "certificate": it.Certificate,
			"examined": string(it.Examined), "examine by": string(it.ExamineBy), "calibrated": string(it.Calibrated), "calibrate by": string(it.CalibrateBy), "defect": strings.TrimSpace(it.Mend + " " + string(it.MendBy)),
		}
		maps.Copy(says, it.Said())
		for name, text := range says {
			if said[name] == nil {
				said[name] = map[string]string{}
			}
			said[name][of[i].Site] = text
		}
	}
	for _, name := range slices.Sorted(maps.Keys(said)) {
		differ := false
		for _, c := range of {
			differ = differ || said[name][c.Site] != said[name][of[0].Site]
		}
		if differ {
			list = append(list, Field{name, said[name]})
		}
	}
	return list
}

// meetings puts copies together that are of the same thing, by id.
func meetings[C any](copies []C, id func(*C) string, of func(string, []C) Meeting) []Meeting {
	groups := map[string][]C{}
	for i := range copies {
		k := id(&copies[i])
		groups[k] = append(groups[k], copies[i])
	}
	var list []Meeting
	for _, k := range slices.Sorted(maps.Keys(groups)) {
		list = append(list, of(k, groups[k]))
	}
	return list
}
