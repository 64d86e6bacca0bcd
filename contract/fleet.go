package contract

import (
	"time"

	"plumbhook/fleet"
	"plumbhook/register"
)

// Fleet is how the sites of a hub stand.
type Fleet struct {
	At      time.Time   `json:"at" doc:"by the hub's clock"`
	DayFrom time.Time   `json:"day_from" doc:"when the hub's day began; stops are counted from then"`
	Node    string      `json:"node" doc:"which machine of the hub answers"`
	Trouble string      `json:"trouble" doc:"why the hub takes nothing in at present; empty: it does"`
	FreshS  float64     `json:"fresh_s" doc:"a site not heard for so long is down; nothing of it is live"`
	Sites   []FleetSite `json:"sites" doc:"what may need somebody first"`
	Stops   []FleetStop `json:"stops" doc:"raised since the day began, the latest first"`
	Dues    []FleetDue  `json:"dues" doc:"overdue, and due within 30 days, by day"`
}

// FleetSite is one site.
type FleetSite struct {
	Site         string      `json:"site"`
	Link         string      `json:"link" enum:"linked,down,never heard"`
	Since        *time.Time  `json:"down_since" doc:"when it was last heard; null while it is linked, or was never heard"`
	Version      string      `json:"version" doc:"of its program; empty: never heard"`
	Twice        bool        `json:"twice" doc:"two programs speak as this site: one of them is a copy"`
	Behind       uint64      `json:"behind" doc:"messages that the site has and the hub has not; 0 while the link is down: not known"`
	Missing      uint64      `json:"missing" doc:"entries of its recordings that never came"`
	LastAt       *time.Time  `json:"last_at" doc:"of the latest entry that came, by the site's clock"`
	StopsToday   int         `json:"stops_today" doc:"that the hub knows of"`
	Watch        *FleetWatch `json:"watch" doc:"what is on the watch; null: nothing, or never heard"`
	CellsOverdue int         `json:"cells_overdue"`
	CellsSoon    int         `json:"cells_soon" doc:"within 30 days"`
	GearOverdue  int         `json:"gear_overdue"`
	GearSoon     int         `json:"gear_soon"`
}

// FleetWatch is the lift that a site has on the watch.
type FleetWatch struct {
	Title    string    `json:"title"`
	Revision string    `json:"revision"`
	Since    time.Time `json:"since"`
	Live     bool      `json:"live" doc:"false: the link is down, and this is what was; state and shares are null then"`
	State    *string   `json:"state" doc:"WITHIN PLAN, CAUTION, STOP, NO READING; null: not known now"`
	Was      string    `json:"was" doc:"the state last heard"`
	Do       string    `json:"do" doc:"of a live one: what its worst alarm asks for"`
	Used     *float64  `json:"used" doc:"of a live one: greatest share of a stop"`
	AgeS     *float64  `json:"age_s" doc:"of a live one: of the oldest reading that counts"`
}

// FleetStop is a stop at a site.
type FleetStop struct {
	Site  string    `json:"site"`
	At    time.Time `json:"at"`
	Kind  string    `json:"kind"`
	Where string    `json:"where"`
	Text  string    `json:"text"`
}

// FleetDue is what falls due at a site.
type FleetDue struct {
	Site string `json:"site"`
	GearDue
}

// NewFleet shapes a view of the node that answers.
func NewFleet(v *fleet.View, node string, trouble error) Fleet {
	out := Fleet{At: v.At, DayFrom: v.Day, Node: node, FreshS: fleet.Fresh.Seconds(), Sites: []FleetSite{}, Stops: []FleetStop{}, Dues: []FleetDue{}}
	if trouble != nil {
		out.Trouble = trouble.Error()
	}
	for i := range v.Rows {
		r := &v.Rows[i]
		x := FleetSite{
			Site: r.Site, Link: string(r.Link), Since: since(r.Since), Version: r.Version, Twice: r.Twice, Behind: r.Behind, Missing: r.Missing, LastAt: since(r.Last), StopsToday: r.Stops,
			CellsOverdue: r.Cells.Overdue, CellsSoon: r.Cells.Soon, GearOverdue: r.Gear.Overdue, GearSoon: r.Gear.Soon,
		}
		if w := r.Watch; w != nil {
			x.Watch = &FleetWatch{Title: w.Title, Revision: w.Revision, Since: w.Since, Was: w.State, Live: r.Link == fleet.Linked}
			if x.Watch.Live {
				x.Watch.State, x.Watch.Do, x.Watch.Used, x.Watch.AgeS = &w.State, w.Do, w.Used, w.AgeS
			}
		}
		out.Sites = append(out.Sites, x)
	}
	for _, s := range v.Stops {
		out.Stops = append(out.Stops, FleetStop{s.Site, s.At, s.Kind, s.Where, s.Text})
	}
	for i := range v.Dues {
		out.Dues = append(out.Dues, FleetDue{v.Dues[i].Site, newGearDue(&v.Dues[i].Due, register.DateOf(v.At))})
	}
	return out
}

func since(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}

// FleetMeetings are the plans and gear whose copies contradict each other.
type FleetMeetings struct {
	Meetings []FleetMeeting `json:"meetings" doc:"those that wait for an answer first"`
}

// FleetMeeting is one of them. Nothing is altered by it: every copy stays as it is
// where it is.
type FleetMeeting struct {
	Kind   string       `json:"kind" enum:"plan,gear"`
	ID     string       `json:"id" doc:"of the lift, or the serial"`
	Title  string       `json:"title"`
	Open   bool         `json:"open" doc:"a named person has to say which copy holds; until then the worst status and the earliest day count"`
	Fork   int          `json:"fork" doc:"number of the first revision, or event, that is not the same everywhere"`
	Heads  []string     `json:"heads" doc:"what an answer has to name, so that it is about what was seen"`
	Copies []FleetCopy  `json:"copies"`
	Fields []FleetField `json:"fields" doc:"of gear: what the copies say differently"`
	Answer *FleetAnswer `json:"answer"`
}

// FleetCopy is how one place has it.
type FleetCopy struct {
	Site   string    `json:"site" doc:"office: the hub's own app"`
	Head   string    `json:"head" doc:"SHA-256 of its newest revision or event"`
	Length int       `json:"length" doc:"revisions, or events"`
	Behind bool      `json:"behind" doc:"another copy goes on from where this one ends"`
	By     string    `json:"by"`
	At     time.Time `json:"at"`
	State  string    `json:"state"`
}

// FleetField is something that copies say differently.
type FleetField struct {
	Name string            `json:"name"`
	Says map[string]string `json:"says" doc:"by site"`
}

// FleetAnswer is a named person's word.
type FleetAnswer struct {
	Take string    `json:"take"`
	By   string    `json:"by"`
	At   time.Time `json:"at"`
	Why  string    `json:"why"`
}

// NewFleetMeetings shapes them.
func NewFleetMeetings(all []fleet.Meeting) FleetMeetings {
	out := FleetMeetings{Meetings: []FleetMeeting{}}
	for i := range all {
		m := &all[i]
		x := FleetMeeting{Kind: string(m.Kind), ID: m.ID, Title: m.Title, Open: m.Open(), Fork: m.Fork, Heads: append([]string{}, m.Heads...), Copies: []FleetCopy{}, Fields: []FleetField{}}
		for _, c := range m.Copies {
			x.Copies = append(x.Copies, FleetCopy(c))
		}
		for _, f := range m.Fields {
			x.Fields = append(x.Fields, FleetField(f))
		}
		if a := m.Answer; a != nil {
			x.Answer = &FleetAnswer{a.Take, a.By, a.At, a.Why}
		}
		out.Meetings = append(out.Meetings, x)
	}
	return out
}
