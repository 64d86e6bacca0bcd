package arch

import "slices"

// module is the import path all our packages start with.
const module = "plumbhook"

// A layer is a row of the package map. A package imports only from layers
// above its own; packages nested in one of these belong to it.
type layer struct {
	name     string
	packages []string
}

var layers = []layer{
	{"leaves", []string{"quantity", "reading", "logbook", "fault", "keyed", "examples"}},
	{"numerics", []string{"statics", "metrology", "takeoff", "cycles"}},
	{"trade", []string{"gear", "register", "crane", "lift", "rulebook", "spread", "size", "infer", "verdict", "card", "job", "crew", "weigh", "prove"}},
	{"live", []string{"sim", "alarm", "watch", "record", "fleet"}},
	{"outputs", []string{"draw", "report", "contract", "internal/qr", "web"}},
	{"adapters", []string{"internal/audit", "internal/authority", "internal/backup", "internal/bus", "internal/hub", "internal/intake", "internal/rehearse", "internal/store", "internal/server", "internal/station", "internal/cli"}},
	{"command", []string{"cmd/plumbhook"}},
}

// beside lists the packages that serve tests. They import what they need and
// no shipped code imports them.
var beside = []string{"validation", "internal/testkit", "internal/arch", "internal/doccheck", "internal/faults", "internal/bill"}

// An edge is one package importing another, with the reason that allows or
// forbids it.
type edge struct{ from, to, why string }

// sideways lists every import allowed inside one layer.
var sideways = []edge{
	{"quantity", "fault", "a refused unit is a fault with its place in the text"},
	{"keyed", "fault", "what is wrong in a file is a fault with its place"},
	{"keyed", "quantity", "a value that stands under a key has a unit"},
	{"logbook", "reading", "a frame of readings is one kind of entry"},
	{"watch", "alarm", "the watch tells the alarms what is the case"},
	{"internal/cli", "internal/authority", "serve has TLS for other machines"},
	{"internal/backup", "internal/store", "the register is copied as it is at one moment, and checked"},
	{"internal/cli", "internal/audit", "serve notes who did what, and doctor goes through it"},
	{"internal/cli", "internal/backup", "backup and restore are commands"},
	{"internal/hub", "internal/authority", "nodes and sites trust one authority"},
	{"internal/cli", "internal/hub", "serve may be a node of a hub, or a site that joins one"},
	{"internal/cli", "internal/bus", "serve may be told of a message server outside"},
	{"internal/cli", "internal/intake", "serve reads the channel map"},
	{"internal/cli", "internal/server", "serve puts the live page in front of the station"},
	{"internal/cli", "internal/station", "serve and the demonstration watch a lift"},
	{"report", "contract", "a certificate prints the answer that command and API give"},
	{"internal/station", "internal/bus", "gateways publish to the message server"},
	{"internal/station", "internal/intake", "what gateways send becomes frames"},
	{"internal/station", "internal/server", "it tells the server in the server's own words"},
	{"internal/cli", "internal/rehearse", "the demonstration and the trials play virtual lifts"},
	{"internal/cli", "internal/store", "the gear commands open the register they work on"},
	{"report", "draw", "the pictures on a sheet, and its fonts"},
	{"report", "internal/qr", "the code in the head of a sheet"},
	{"spread", "lift", "it hangs the lift again for what is not known exactly"},
	{"lift", "gear", "a stack entry takes from the catalogue what the file leaves out"},
	{"rulebook", "gear", "derating facts, fit and pieces"},
	{"rulebook", "crane", "charts and reductions are judged by the codes"},
	{"size", "gear", "candidates are kinds and sizes of the catalogue"},
	{"size", "lift", "a choice of lengths is hung again"},
	{"size", "spread", "a choice has to hold with what is not known"},
	{"card", "lift", "it hangs the lift for the first bite and as rigged"},
	{"card", "spread", "bands of the total are quantiles of the draws"},
	{"card", "verdict", "the stop numbers follow the verdict's parts"},
	{"rulebook", "lift", "it checks a hung lift"},
	{"infer", "lift", "an explanation is a lift that differs from the plan"},
	{"infer", "verdict", "what is explained is a checked plan and what its cells must read"},
	{"weigh", "gear", "one way to write the accuracy of a load cell"},
	{"prove", "gear", "one way to write the accuracy of a load cell, and how far a figure was verified"},
	{"verdict", "lift", "it puts the hung lift into the answer"},
	{"verdict", "spread", "it puts what is not known exactly into the answer"},
	{"verdict", "gear", "one name for a kind is told from another"},
	{"verdict", "register", "a piece with a serial is held against its dates and status"},
	{"register", "gear", "capacity and safe overload of a cell are read as the catalogue reads them"},
	{"verdict", "rulebook", "it puts the findings into the answer"},
}

// never lists imports that stay forbidden whatever the layers say.
var never = []edge{
	{"sim", "watch", "the virtual lift is the second opinion on what the watch says"},
	{"sim", "statics", "the virtual lift moves by its own mechanics, or the two would share their mistakes"},
	{"sim", "infer", "the virtual lift is the second opinion on what the inverse says"},
	{"watch", "record", "the alarm path never waits for a disk"},
	{"record", "watch", "a recording holds what was read, not what was thought of it"},
	{"internal/server", "internal/store", "the server sees interfaces, so that either database can stand behind it"},
}

// pure tells whether a package computes only: the layers down to the trade,
// and alarm. Same input, same answer, on any machine, in anyone's program.
func pure(pkg string) bool {
	return pkg == "alarm" || slices.ContainsFunc(layers[:3], func(l layer) bool {
		return slices.Contains(l.packages, pkg)
	})
}

// outside lists the standard packages through which a pure package would
// reach the world; a path stands for everything nested in it too.
var outside = []struct{ path, why string }{
	{"os", "files and the environment come in as arguments: bytes, an fs.FS"},
	{"io/ioutil", "files come in as arguments: bytes, an fs.FS"},
	{"path/filepath", "paths inside a lift file are slash paths of an fs.FS: package path"},
	{"net", "nothing that computes talks to a network"},
	{"database/sql", "nothing that computes talks to a database"},
	{"syscall", "nothing that computes talks to the system"},
	{"log", "what must be told is returned; the caller logs"},
	{"crypto/rand", "same input, same answer: random numbers come from a seed"},
}

// calls lists the functions of otherwise harmless packages that reach the
// world. With except set, all functions but the listed ones do.
var calls = []struct {
	path   string
	names  []string
	except bool
	why    string
}{
	{
		"time",
		[]string{"Now", "Since", "Until", "Sleep", "After", "AfterFunc", "Tick", "NewTicker", "NewTimer"},
		false, "time comes in as an argument",
	},
	{
		"math/rand",
		[]string{"New", "NewSource", "NewZipf", "Rand", "Source", "Source64", "Zipf"},
		true, "same input, same answer: random numbers come from a seed",
	},
	{
		"math/rand/v2",
		[]string{"New", "NewPCG", "NewChaCha8", "NewZipf", "Rand", "Source", "PCG", "ChaCha8", "Zipf"},
		true, "same input, same answer: random numbers come from a seed",
	},
	{
		"fmt",
		[]string{"Print", "Printf", "Println", "Scan", "Scanf", "Scanln"},
		false, "what must be told is returned; the caller prints",
	},
}
