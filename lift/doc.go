// Package lift holds the nouns of a lift file, load, lugs, hooks, nodes,
// legs with their stacks, spreaders, and turns a plan into a statics model
// and the equilibrium back into what a rigger asks: what each leg, lug and
// hook carries, how the load hangs, what the plan cannot know.
//
// A Lift is what the file says, in SI units, with every spread kept and the
// place of every statement remembered. Read makes one; it reports all
// mistakes of a file at once. Rig turns it into something that can be hung.
package lift
