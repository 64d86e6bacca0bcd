package lift

import (
	"errors"
	"maps"
	"slices"

	"plumbhook/fault"
	"plumbhook/keyed"
)

// A Store says what the gear register has on an item: its kind, and facts as
// the gear catalogue reads them (wll, length, mass, size ...). ok is false for
// a serial that it does not know.
type Store func(serial string) (kind string, facts map[string]string, ok bool)

// ErrNeedsRegister is the cause of a fault that the gear register would mend:
// the file is in order, and leaves a piece to its serial.
var ErrNeedsRegister = errors.New("no gear register was given")

// fill writes into every stack entry without a kind what the register has on
// its serial and the file does not say. The values stand where the serial
// stands, so that messages point at it.
func (r *reader) fill(root *keyed.Node) {
	if r.store == nil || root.Get("legs") == nil {
		return
	}
	known := slices.Concat(names(entryKeys), names(cellKeys((*Part).cell)), names(factKeys))
	for _, leg := range root.Get("legs").Items {
		stack := leg.Get("stack")
		if stack == nil {
			continue
		}
		for _, entry := range stack.Items {
			serial := entry.Get("serial")
			if serial == nil || serial.Kind != keyed.Scalar || entry.Get("kind") != nil {
				continue
			}
			kind, facts, ok := r.store(serial.Text)
			if !ok {
				continue
			}
			facts = maps.Clone(facts)
			if facts == nil {
				facts = map[string]string{}
			}
			facts["kind"] = kind
			for _, key := range slices.Sorted(maps.Keys(facts)) {
				if facts[key] != "" && entry.Get(key) == nil && slices.Contains(known, key) {
					entry.Items = append(entry.Items, &keyed.Node{Kind: keyed.Scalar, Name: key, Key: serial.Key, Pos: serial.Pos, Text: facts[key], Outside: true})
				}
			}
		}
	}
}

// noLength asks for the length of an entry: of the register, where the file
// leaves the piece to that.
func (r *reader) noLength(n *keyed.Node) {
	serial := n.Get("serial")
	switch {
	case serial == nil || n.Get("kind") != nil && !n.Get("kind").Outside:
		r.fault(n, fault.Missing, "the entry has no length").
			Fix("measure it bearing to bearing and write length: here, or give the length of the whole leg")
	case r.store == nil:
		r.fault(n, fault.Missing, "the entry says only its serial, %s", keyed.Quote(serial.Text)).Because(ErrNeedsRegister).
			Fix("give the data folder with the gear register (--data DIR), or write kind and length here")
	case n.Get("kind") == nil:
		r.fault(n, fault.Missing, "the gear register does not know serial %s", keyed.Quote(serial.Text)).
			Fix("check the serial, enter the piece in the register, or write kind and length here")
	default:
		r.fault(n, fault.Missing, "the gear register has no length of %s", keyed.Quote(serial.Text)).
			Fix("measure it bearing to bearing and write length: here, or enter it in the register")
	}
}
