package lift

import (
	"plumbhook/fault"
	"plumbhook/keyed"
)

// checkReactions asks of every outrigger or track how hard it presses, once,
// and on what.
func checkReactions(r *reader, n *keyed.Node, c *Crane) {
	all := n.Get("reactions")
	if all == nil || len(all.Items) != len(c.Reactions) {
		return
	}
	for i, it := range all.Items {
		x := &c.Reactions[i]
		if !r.clean(it) {
			continue
		}
		switch {
		case x.Force == nil && x.Share == nil:
			r.fault(it, fault.Missing, "nothing says how hard it presses").Fix("give force, or its share of machine and load")
		case x.Force != nil && x.Share != nil:
			r.fault(it, fault.Disagree, "force and share both say how hard it presses").Fix("keep one of them")
		case x.Share != nil && *x.Share == 0:
			r.fault(it, fault.Range, "a support that takes nothing presses on nothing").Fix("leave it out")
		case x.Share != nil && n.Get("machine") == nil:
			r.fault(it, fault.Missing, "a share of machine and load needs the mass of the machine").Fix("give machine beside reactions, such as 36 t")
		}
		if x.Mat == nil && n.Get("mat") == nil {
			r.fault(it, fault.Missing, "nothing says what it stands on").Fix("give mat, here or beside reactions: length and width, and foot; without a mat the sizes of the foot")
		}
	}
}
