package watch

import (
	"reflect"
	"strconv"
	"sync"

	"plumbhook/alarm"
	"plumbhook/infer"
	"plumbhook/logbook"
)

// Question is what there is to go by for the explanations, at one entry of the
// logbook. Comparing them takes many times as long as judging a frame, so with
// Options.Later the engine only asks, and whoever runs the watch has it worked
// out beside the watch: no alarm waits for an explanation. When the answer is
// there, its entry brings it into the one order of the logbook, where a replay
// finds it again at the same place.
type Question struct {
	n      uint64 // entry it was asked at
	course infer.Course
	model  *infer.Model
	once   sync.Once
	answer infer.Result
}

// mostAsked is how many questions without an answer are kept. In a watch that
// keeps up there is one.
const mostAsked = 16

// Question is the latest question without an answer, nil when there is none.
func (e *Engine) Question() *Question {
	if len(e.asked) == 0 {
		return nil
	}
	return e.asked[len(e.asked)-1]
}

// Work answers the question. It may run beside the engine, but not beside the
// work on another question.
func (q *Question) Work() {
	q.once.Do(func() { q.answer = q.model.Diagnose(&q.course) })
}

// Entry brings the answer into the logbook.
func (q *Question) Entry() logbook.Entry {
	return logbook.Entry{Kind: logbook.Answer, Text: strconv.FormatUint(q.n, 10)}
}

// ask has the explanations compared, now or later.
func (e *Engine) ask(c infer.Course) {
	q := &Question{n: e.entry, course: copied(reflect.ValueOf(c)).Interface().(infer.Course), model: e.thinker}
	if !e.later {
		q.Work()
		e.conclude(q)
		return
	}
	if len(e.asked) == mostAsked {
		e.asked = append(e.asked[:0], e.asked[1:]...)
	}
	e.asked = append(e.asked, q)
}

// answered takes the answer to the question that an entry names, and drops
// those asked before it.
func (e *Engine) answered(en *logbook.Entry) {
	for i, q := range e.asked {
		if strconv.FormatUint(q.n, 10) == en.Text {
			e.asked = e.asked[i+1:]
			q.Work()
			e.conclude(q)
			return
		}
	}
}

// conclude takes an answer over.
func (e *Engine) conclude(q *Question) {
	e.says, e.said = q.answer, true
	if len(e.says.Causes) > 0 {
		e.says.Causes[0].Text += e.compared()
	}
	first := ""
	if len(e.says.Causes) > 0 && e.says.Causes[0].Probability > 0.8 {
		first = e.says.Causes[0].Name
	}
	again := e.units
	e.units = first == "wrong_unit"
	on := again && e.units && e.course.loaded() // a second look agrees
	cond := alarm.Condition{Kind: alarm.WrongUnit, On: on, Air: e.course.air()}
	if on {
		cond.Text = e.says.Causes[0].Text
	}
	e.panel.Tell(e.now, cond)
}

// copied copies a value to the last slice, as the engine goes on with its own.
func copied(v reflect.Value) reflect.Value {
	if (v.Kind() == reflect.Slice || v.Kind() == reflect.Pointer) && v.IsNil() {
		return v
	}
	out := reflect.New(v.Type()).Elem()
	switch v.Kind() {
	case reflect.Slice:
		out.Set(reflect.MakeSlice(v.Type(), v.Len(), v.Len()))
		for i := range v.Len() {
			out.Index(i).Set(copied(v.Index(i)))
		}
	case reflect.Pointer:
		out.Set(reflect.New(v.Type().Elem()))
		out.Elem().Set(copied(v.Elem()))
	case reflect.Struct:
		for i := range v.NumField() {
			out.Field(i).Set(copied(v.Field(i)))
		}
	default:
		out.Set(v)
	}
	return out
}
