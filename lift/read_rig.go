package lift

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"plumbhook/fault"
	"plumbhook/keyed"
)

// target is what a reference may name.
type target struct {
	what   string // "hook", "node", "spreader", "load"
	points []Lug  // of the load and of spreaders
}

func (b target) rigid() bool { return b.what == "load" || b.what == "spreader" }

// rigReader checks what refers to what, once the whole file has been read.
type rigReader struct {
	*reader
	lift   *Lift
	bodies map[string]target
	order  []string // of bodies, as in the file
}

// rig checks names, references and whether everything hangs from a hook.
func (r *reader) rig(l *Lift) {
	rr := &rigReader{reader: r, lift: l, bodies: map[string]target{}}
	rr.declare()
	before := len(r.faults)
	rr.references()
	rr.channels()
	rr.anchors()
	rr.bounded()
	if len(r.faults) == before && len(r.blind) == 0 {
		rr.hanging()
	}
}

func (r *rigReader) report(where string, code fault.Code, format string, args ...any) *fault.Fault {
	f := fault.New(code, format, args...).In(where).At(r.places[where])
	r.faults = append(r.faults, f)
	return f
}

// declare gathers the names that references may use.
func (r *rigReader) declare() {
	add := func(where, name, what string, points []Lug) {
		if other, taken := r.bodies[name]; taken {
			article := "a"
			if other.what == "load" {
				article = "the"
			}
			r.report(where, fault.Duplicate, "a %s is called %s, and so is %s %s", what, keyed.Quote(name), article, other.what).
				Fix("give one of them another name")
			return
		}
		r.bodies[name] = target{what, points}
		r.order = append(r.order, name)
	}
	l := r.lift
	add("load", "load", "load", l.Load.Lugs)
	r.some("load.lugs", len(l.Load.Lugs))
	for _, h := range l.Hooks {
		add("hooks."+h.Name, h.Name, "hook", nil)
	}
	r.some("hooks", len(l.Hooks))
	for _, n := range l.Nodes {
		add("nodes."+n.Name, n.Name, "node", nil)
	}
	for _, s := range l.Spreaders {
		add("spreaders."+s.Name, s.Name, "spreader", s.Points)
		r.some("spreaders."+s.Name+".points", len(s.Points))
	}
	r.some("legs", len(l.Legs))
}

// some demands that a map has entries. That the map is missing, or could not
// be read, has been reported before.
func (r *rigReader) some(where string, count int) {
	if count > 0 {
		return
	}
	if _, there := r.places[where]; there && !r.blind[where] {
		r.report(where, fault.Missing, "none is given here").Fix("give one at least, or leave out what it is for")
	}
	r.blind[where] = true
}

// references checks that everything named in the file exists.
func (r *rigReader) references() {
	l := r.lift
	var legs, hooks, ties, supports []string
	for _, h := range l.Hooks {
		hooks = append(hooks, h.Name)
	}
	for _, s := range l.Supports {
		supports = append(supports, s.Name)
		r.resolve("supports."+s.Name+".at", s.At, true)
	}
	for _, t := range l.Ties {
		ties = append(ties, t.Name)
		r.resolve("ties."+t.Name+".at", t.At, true)
	}
	for _, g := range l.Legs {
		legs = append(legs, g.Name)
		where := "legs." + g.Name
		good := r.resolve(where+".from", g.From, false)
		good = r.resolve(where+".to", g.To, false) && good
		for i, v := range g.Via {
			good = r.resolve(fmt.Sprintf("%s.via[%d]", where, i+1), v, false) && good
		}
		if a, b := r.bodies[g.From.Body], r.bodies[g.To.Body]; good && len(g.Via) == 0 {
			switch {
			case g.From.Body == g.To.Body:
				r.report(where, fault.Rig, "the leg runs from %s to %s, which do not move apart", g.From, g.To).Fix("let it end on something else, or give the points it runs over with via")
			case a.what == "hook" && b.what == "hook":
				r.report(where, fault.Rig, "the leg runs from hook to hook and carries nothing").Fix("let it end on the load, a node or a spreader")
			}
		}
	}
	for _, name := range slices.Sorted(maps.Keys(l.Limits.Legs)) {
		r.exists("limits.legs."+name, "leg", name, legs)
	}
	for _, name := range slices.Sorted(maps.Keys(l.Limits.Hooks)) {
		r.exists("limits.hooks."+name, "hook", name, hooks)
	}
	for _, c := range l.Cranes {
		r.exists("crane."+c.Hook, "hook", c.Hook, hooks)
	}
	steps := map[string]bool{}
	for i, s := range l.Steps {
		where := fmt.Sprintf("steps[%d]", i+1)
		if steps[s.Name] {
			r.report(where, fault.Duplicate, "a step before this one is called %s too", keyed.Quote(s.Name)).Fix("give each step its own name")
		}
		steps[s.Name] = true
		for _, part := range []struct {
			key, what    string
			named, known []string
		}{
			{"hooks", "hook", slices.Sorted(maps.Keys(s.Hooks)), hooks},
			{"legs", "leg", slices.Sorted(maps.Keys(s.Legs)), legs},
			{"ties", "tie", slices.Sorted(maps.Keys(s.Ties)), ties},
			{"supports", "support", slices.Sorted(maps.Keys(s.Supports)), supports},
		} {
			for _, name := range part.named {
				r.exists(where+"."+part.key+"."+name, part.what, name, part.known)
			}
		}
	}
}

// exists reports a name that no thing of its kind bears.
func (r *rigReader) exists(where, what, name string, known []string) {
	if r.blind[what+"s"] || slices.Contains(known, name) {
		return
	}
	f := r.report(where, fault.Reference, "no %s is called %s", what, keyed.Quote(name))
	if len(known) == 0 {
		f.Fix("the file has no %s", what)
		return
	}
	r.suggest(f, name, known)
}

// suggest says which name may have been meant, or which there are.
func (r *rigReader) suggest(f *fault.Fault, name string, known []string) {
	const most = 12
	switch {
	case len(r.faults) > maxFaults: // nobody will be told
	case nearest(name, known) != "":
		f.Fix("did you mean %s?", nearest(name, known))
	case len(known) > most:
		f.Fix("there is %s and %d more", strings.Join(known[:most], ", "), len(known)-most)
	default:
		f.Fix("there is %s", strings.Join(known, ", "))
	}
}

// resolve checks an end of a leg, or a point of a body.
func (r *rigReader) resolve(where string, ref Ref, onBody bool) bool {
	if ref.Body == "" {
		return false // reported when it was read
	}
	b, ok := r.bodies[ref.Body]
	has := slices.ContainsFunc(b.points, func(p Lug) bool { return p.Name == ref.Point })
	switch {
	case !ok:
		if r.blind["hooks"] || r.blind["nodes"] || r.blind["spreaders"] {
			return false
		}
		f := r.report(where, fault.Reference, "nothing is called %s", keyed.Quote(ref.Body))
		known := r.ends()
		// A lug named without its body.
		if i := slices.IndexFunc(known, func(k string) bool { return strings.HasSuffix(k, "."+ref.String()) }); i >= 0 {
			f.Fix("did you mean %s?", known[i])
			return false
		}
		r.suggest(f, ref.String(), known)
	case !b.rigid() && ref.Point != "":
		r.report(where, fault.Reference, "%s is a %s and has no points", keyed.Quote(ref.Body), b.what).Fix("write %s alone", ref.Body)
	case !b.rigid() && onBody:
		r.report(where, fault.Reference, "%s is a %s, where a point of the load or of a spreader is due", keyed.Quote(ref.Body), b.what).
			Fix("write it as load.LUG")
	case !b.rigid() || has:
		return true
	case r.blind["load.lugs"] && b.what == "load" || r.blind["spreaders."+ref.Body+".points"]:
	case ref.Point == "":
		r.suggest(r.report(where, fault.Reference, "%s does not say which point of it", keyed.Quote(ref.Body)), "", b.ends(ref.Body))
	default:
		r.suggest(r.report(where, fault.Reference, "%s has no point %s", ref.Body, keyed.Quote(ref.Point)), ref.String(), b.ends(ref.Body))
	}
	return false
}

// ends lists what a leg can end on: the points of a body, a hook or node itself.
func (b target) ends(name string) (all []string) {
	if !b.rigid() {
		return []string{name}
	}
	for _, p := range b.points {
		all = append(all, name+"."+p.Name)
	}
	return all
}

func (r *rigReader) ends() (all []string) {
	if len(r.faults) > maxFaults {
		return nil
	}
	for _, name := range r.order {
		all = append(all, r.bodies[name].ends(name)...)
	}
	return all
}

// channels checks that no two readings come under one name.
func (r *rigReader) channels() {
	seen := map[string]string{}
	add := func(channel, where string) {
		if channel == "" {
			return
		}
		if first, taken := seen[channel]; taken {
			r.report(where, fault.Duplicate, "the channel %s is used by %s too", keyed.Quote(channel), first).Fix("give each reading its own channel")
			return
		}
		seen[channel] = where
	}
	for _, g := range r.lift.Legs {
		if g.Cell != nil {
			add(g.Cell.Channel, "legs."+g.Name+".cell.channel")
		}
		for i, p := range g.Stack {
			if p.Cell != nil {
				add(p.Cell.Channel, fmt.Sprintf("legs.%s.stack[%d].channel", g.Name, i+1))
			}
		}
	}
	for _, c := range r.lift.Channels {
		add(c.Name, "channels."+c.Name)
	}
}

// anchors checks that hooks have a place where something else fixes the
// world. A single hook without one is plumb over the load.
func (r *rigReader) anchors() {
	l := r.lift
	for _, h := range l.Hooks {
		where := "hooks." + h.Name
		if _, given := r.places[where+".at"]; given {
			continue
		}
		why := ""
		switch {
		case len(l.Hooks) > 1:
			why = "there are several hooks"
		case len(l.Supports) > 0:
			why = "supports fix the load to the ground"
		case len(l.Ties) > 0:
			why = "ties fix the load to the ground"
		case slices.ContainsFunc(l.Steps, func(s Step) bool { _, moves := s.Hooks[h.Name]; return moves }):
			why = "a step moves it"
		default:
			continue
		}
		r.report(where, fault.Missing, "the hook needs a place in the world: %s", why).Fix("give at: x y z unit")
	}
}

// Bounds on what is hung in one go: each step of each leg takes its share of
// the thousands of draws. At the bounds a check takes about half a minute.
const (
	maxLegs     = 500
	maxSteps    = 500
	maxLegSteps = 5000 // legs times steps
)

// bounded refuses a lift that would keep the program busy for long.
func (r *rigReader) bounded() {
	legs, steps := len(r.lift.Legs), len(r.lift.Steps)
	switch {
	case legs > maxLegs:
		r.report("legs", fault.TooLarge, "the lift has %d legs, the most is %d", legs, maxLegs).Fix("split the lift, or put legs that act as one together")
	case steps > maxSteps:
		r.report("steps", fault.TooLarge, "the lift has %d steps, the most is %d", steps, maxSteps).Fix("keep the steps that matter, or split the lift")
	case legs*steps > maxLegSteps:
		r.report("steps", fault.TooLarge, "%d steps with %d legs are %d legs to work out, the most is %d", steps, legs, legs*steps, maxLegSteps).Fix("keep the steps that matter, or split the lift")
	}
}

// hanging checks that every body and node hangs from a hook by some way over
// legs, and that every hook carries.
func (r *rigReader) hanging() {
	neighbours := map[string][]string{}
	for _, g := range r.lift.Legs {
		chain := slices.Concat([]Ref{g.From}, g.Via, []Ref{g.To})
		for i := 1; i < len(chain); i++ {
			a, b := chain[i-1].Body, chain[i].Body
			neighbours[a] = append(neighbours[a], b)
			neighbours[b] = append(neighbours[b], a)
		}
	}
	reached := map[string]bool{}
	var queue []string
	for _, h := range r.lift.Hooks {
		reached[h.Name] = true
		queue = append(queue, h.Name)
		if neighbours[h.Name] == nil {
			r.report("hooks."+h.Name, fault.Rig, "no leg hangs from the hook %s", keyed.Quote(h.Name)).Fix("hang a leg from it, or leave it out")
		}
	}
	for len(queue) > 0 {
		next := queue[0]
		queue = queue[1:]
		for _, b := range neighbours[next] {
			if !reached[b] {
				reached[b] = true
				queue = append(queue, b)
			}
		}
	}
	for _, name := range r.order {
		if reached[name] {
			continue
		}
		b := r.bodies[name]
		where := b.what
		if name != "load" {
			where = b.what + "s." + name
		}
		r.report(where, fault.Rig, "%s hangs from no hook", keyed.Quote(name)).
			Fix("follow the legs from a hook down: none comes here")
	}
}
