package paper

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
)

// Language is what a sheet is written in.
type Language string

// The languages there are; the empty one is English.
const (
	English Language = "en"
	Spanish Language = "es"
)

// Words is a catalogue: a key to its text in English and in Spanish, as fmt
// takes it. Placeholders that change places bear their number: %[2]s.
type Words map[string][2]string

// Say gives the text of a key. A key that is not there comes out as itself in
// brackets, so that it is seen on paper; Wrong finds it before.
func (w Words) Say(l Language, key string, args ...any) string {
	pair, ok := w[key]
	if !ok {
		return "[" + key + "]"
	}
	text := pair[0]
	if l == Spanish {
		text = pair[1]
	}
	if len(args) == 0 {
		return text
	}
	return fmt.Sprintf(text, args...)
}

var placeholder = regexp.MustCompile(`%(\[(\d+)\])?[-+# 0-9.]*[a-zA-Z%]`)

// places lists what a text has put in: verb by place.
func places(text string) []string {
	next := 1
	var list []string
	for _, m := range placeholder.FindAllStringSubmatch(text, -1) {
		verb := m[0][len(m[0])-1:]
		if verb == "%" {
			continue
		}
		if m[2] != "" {
			fmt.Sscan(m[2], &next)
		}
		list = append(list, fmt.Sprintf("%d%s", next, verb))
		next++
	}
	slices.Sort(list)
	return list
}

// Wrong lists the keys that lack a language, or whose languages do not put in
// the same.
func (w Words) Wrong() (wrong []string) {
	for _, key := range slices.Sorted(maps.Keys(w)) {
		en, es := w[key][0], w[key][1]
		if en == "" || es == "" || !slices.Equal(places(en), places(es)) {
			wrong = append(wrong, key)
		}
	}
	return wrong
}

// frame is what every sheet says.
var frame = Words{
	"page":     {"page %d of %d", "página %d de %d"},
	"number":   {"document no.", "documento n.º"},
	"revision": {"revision", "revisión"},
	"date":     {"date", "fecha"},
	"made by":  {"made by", "hecho con"},
	"none":     {"none", "ninguna"},
	"goes on":  {"continued", "continuación"},
	"more":     {"continued on the next page", "continúa en la página siguiente"},
	"cautions": {
		"This informs a competent person; it does not release the lift. The tag on the gear, its maker's data, the local code and the appointed person govern. " +
			"It does not replace a crane's own indicator.",
		"Esta hoja informa a una persona competente; no autoriza la maniobra. Mandan la etiqueta del útil, los datos de su fabricante, la normativa local y la persona designada. " +
			"No sustituye al indicador propio de la grúa.",
	},
}
