package report

import (
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// Every text has to be there in both languages, with the same put in, and every
// key that the sheets ask for has to be in the catalogue.
func TestWords(t *testing.T) {
	if w := words.Wrong(); w != nil {
		t.Errorf("keys that lack a language or differ in what they put in: %q", w)
	}
	keys := slices.Collect(maps.Keys(words))
	files, _ := filepath.Glob("*.go")
	for _, f := range files {
		text, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range regexp.MustCompile(`say\("([^"]+)"`).FindAllStringSubmatch(string(text), -1) {
			if !slices.ContainsFunc(keys, func(key string) bool {
				return key == m[1] || strings.HasSuffix(m[1], " ") && strings.HasPrefix(key, m[1])
			}) {
				t.Errorf("%s asks for %q, which is not in the catalogue", f, m[1])
			}
		}
	}
}
