package watch_test

import (
	"fmt"
	"testing"

	"plumbhook/alarm"
	"plumbhook/internal/rehearse"
	"plumbhook/internal/testkit"
	"plumbhook/logbook"
	"plumbhook/watch"
)

// Answers that are worked out beside the watch, and come some frames late,
// hold nothing up and end at the same as those that the engine waits for. The
// logbook with the answers in it says the same again, where nobody works beside.
func TestAnswersComeLater(t *testing.T) {
	testkit.Alone(t)
	p := plan(t, "pump-motor.yaml")
	r, err := rehearse.New(p.Lift, 5, "as_planned", rehearse.Options{})
	if err != nil {
		t.Fatal(err)
	}
	e, err := watch.New(p, watch.Options{Later: true})
	if err != nil {
		t.Fatal(err)
	}
	var book []logbook.Entry
	var events []string
	enter := func(e *watch.Engine, en logbook.Entry) (said []string) {
		for _, ev := range e.Apply(&en) {
			if ev.Change == alarm.Raised {
				said = append(said, fmt.Sprintf("%+v", ev))
			}
		}
		return said
	}
	var asked *watch.Question
	var worked chan bool
	answers := 0
	for f, err := range r.Frames() {
		if err != nil {
			t.Fatal(err)
		}
		own := *f
		own.Readings = append(own.Readings[:0:0], f.Readings...)
		book = append(book, logbook.Entry{N: uint64(len(book) + 1), At: f.Arrived, Kind: logbook.Frame, Frame: &own})
		events = append(events, enter(e, book[len(book)-1])...)
		if q := e.Question(); asked == nil && q != nil {
			asked, worked = q, make(chan bool)
			go func() { q.Work(); close(worked) }()
		} else if asked != nil && len(book)%20 == 0 {
			<-worked
			a := asked.Entry()
			a.N, a.At = uint64(len(book)+1), f.Arrived
			book = append(book, a)
			events = append(events, enter(e, a)...)
			asked = nil
			answers++
		}
	}
	again, err := watch.New(p, watch.Options{Later: true})
	if err != nil {
		t.Fatal(err)
	}
	atOnce, err := watch.New(p, watch.Options{})
	if err != nil {
		t.Fatal(err)
	}
	var said []string
	for _, en := range book {
		said = append(said, enter(again, en)...)
		enter(atOnce, en)
	}
	if answers < 3 || fmt.Sprint(said) != fmt.Sprint(events) {
		t.Errorf("%d answers; said %v, then %v", answers, events, said)
	}
	if a, b := fmt.Sprintf("%+v", e.View().Says), fmt.Sprintf("%+v", again.View().Says); a != b || a == "[]" {
		t.Errorf("the watch explains\n%s\nthe replay\n%s", a, b)
	}
	x, y, z := atOnce.Finish(), e.Finish(), again.Finish()
	if fmt.Sprintf("%+v", y) != fmt.Sprintf("%+v", z) {
		t.Errorf("ends with\n%+v\nand again with\n%+v", y, z)
	}
	if fmt.Sprintf("%+v", x.Causes) != fmt.Sprintf("%+v", y.Causes) {
		t.Errorf("explains\n%+v\nat once\n%+v", y.Causes, x.Causes)
	}
}
