package server

import (
	"cmp"
	"net/http"
	"strconv"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"plumbhook/alarm"
)

// counters are what is counted of requests.
type counters struct {
	requests *prometheus.CounterVec
	took     *prometheus.HistogramVec
	wrong    prometheus.Counter // passwords, PINs and codes
}

func newCounters() counters {
	return counters{
		prometheus.NewCounterVec(prometheus.CounterOpts{Name: "plumbhook_http_requests_total", Help: "Requests answered, by route and status."}, []string{"route", "status"}),
		prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "plumbhook_http_request_seconds", Help: "How long answers took, by route; streams are not in it.", Buckets: []float64{.001, .005, .02, .1, .5, 2, 10, 60}}, []string{"route"}),
		prometheus.NewCounter(prometheus.CounterOpts{Name: "plumbhook_wrong_secrets_total", Help: "Passwords, PINs and codes that were wrong."}),
	}
}

var (
	descPart   = prometheus.NewDesc("plumbhook_part_state", "How a part does: 0 ok, 1 at risk, 2 down. With 2 the lift is not watched as it should be.", []string{"part"}, nil)
	descWatch  = prometheus.NewDesc("plumbhook_watch", "1 while a lift is on the watch.", nil, nil)
	descAge    = prometheus.NewDesc("plumbhook_watch_view_age_seconds", "How old the newest view of the watch is; above 2 it stands still.", nil, nil)
	descAlarms = prometheus.NewDesc("plumbhook_alarms", "Alarms that stand, by severity.", []string{"severity"}, nil)
)

var _ prometheus.Collector = (*Server)(nil)

// Describe tells nothing beforehand: a watch that begins brings values of its
// own.
func (s *Server) Describe(chan<- *prometheus.Desc) {}

// Collect gives how requests, the watch and its parts do. A station that
// collects something itself is asked too.
func (s *Server) Collect(out chan<- prometheus.Metric) {
	s.count.requests.Collect(out)
	s.count.took.Collect(out)
	s.count.wrong.Collect(out)
	gauge := func(d *prometheus.Desc, v float64, labels ...string) {
		out <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v, labels...)
	}
	x := s.slot.Load()
	if x == nil {
		gauge(descWatch, 0)
		return
	}
	gauge(descWatch, 1)
	worst := map[string]float64{} // of parts of one name
	for _, p := range x.station.Status() {
		worst[p.Name] = max(worst[p.Name], map[PartState]float64{AtRisk: 1, Down: 2}[p.State])
	}
	for name, v := range worst {
		gauge(descPart, v, name)
	}
	v := x.station.View()
	gauge(descAge, s.o.Now().Sub(v.At.Time()).Seconds())
	stand := map[alarm.Severity]int{}
	for i := range v.Alarms {
		stand[v.Alarms[i].Severity]++
	}
	for _, severity := range []alarm.Severity{alarm.Caution, alarm.Stop} {
		gauge(descAlarms, float64(stand[severity]), string(severity))
	}
	if c, ok := x.station.(prometheus.Collector); ok {
		c.Collect(out)
	}
}

// computes are routes that change nothing, and that readings come by.
var computes = map[string]bool{
	"/api/readings": true, "POST /api/check": true, "POST /api/draw": true, "POST /api/size": true, "POST /api/card": true, "POST /api/lesson": true,
}

// noted counts an answer, logs it, and has the audit log note it when it was to
// change something. Gateways are counted where their readings are.
func (s *Server) noted(w http.ResponseWriter, r *http.Request, route string, judge func(*telling, *http.Request, string)) {
	begin, told := s.o.Now(), &telling{ResponseWriter: w, status: http.StatusOK, m: &me{}}
	judge(told, r, route)
	took := s.o.Now().Sub(begin)
	label := route
	if _, known := least[route]; !known {
		label = "page"
	}
	s.count.requests.WithLabelValues(label, strconv.Itoa(told.status)).Inc()
	if route != "GET /api/watch/stream" {
		s.count.took.WithLabelValues(label).Observe(took.Seconds())
	}
	who := cmp.Or(told.m.as, told.m.Name)
	s.o.Log.Debug("answered", "route", label, "status", told.status, "ms", took.Milliseconds(), "who", who, "from", told.m.from)
	if s.o.Audit == nil || r.Method == http.MethodGet || r.Method == http.MethodHead || label == "page" || computes[route] {
		return
	}
	if err := s.o.Audit(Deed{At: begin.UTC(), Who: who, From: told.m.from, Did: r.Method + " " + r.URL.Path, Status: told.status}); err != nil {
		s.o.Log.Error("the audit log cannot be written", "err", err)
	}
}

// Deed is what somebody asked for over the API, and how it was answered.
type Deed struct {
	At             time.Time
	Who, From, Did string
	Status         int
}

// telling is an answer that remembers its status, and who asked.
type telling struct {
	http.ResponseWriter
	status int
	m      *me
}

func (t *telling) WriteHeader(status int) {
	t.status = status
	t.ResponseWriter.WriteHeader(status)
}

// Unwrap lets deadlines and flushes through.
func (t *telling) Unwrap() http.ResponseWriter { return t.ResponseWriter }
