package cli

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"plumbhook/internal/doccheck"
	"plumbhook/internal/testkit"
)

// TestCommandsOfThePage runs every command that a page for users shows, one
// after the other as a reader would, in a folder with the page's first file and
// the examples. None may be refused; a plan may fail, or be without gear that
// holds.
func TestCommandsOfThePage(t *testing.T) {
	testkit.Alone(t)
	for _, p := range []struct {
		page, kind, file string
		least            int // commands
	}{
		{"riggers.md", "yaml lift", "valve.yaml", 20},
		{"weighing.md", "yaml survey", "survey.yaml", 9},
		{"proving.md", "yaml proof", "proof.yaml", 9},
		{"sheets.md", "", "", 11},
	} {
		t.Run(p.page, func(t *testing.T) { commandsOf(t, p.page, p.kind, p.file, p.least) })
	}
}

func commandsOf(t *testing.T, page, kind, file string, least int) {
	text, err := os.ReadFile(filepath.Join("../../docs", page))
	if err != nil {
		t.Fatal(err)
	}
	shown, err := filepath.Abs(examples)
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir(t.TempDir())
	if err := os.Symlink(shown, "examples"); err != nil {
		t.Fatal(err)
	}
	count := 0
	for _, b := range doccheck.Read(string(text)).Blocks {
		if _, err := os.Stat(file); file != "" && b.Kind == kind && err != nil {
			if err := os.WriteFile(file, []byte(b.Text), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		if b.Kind != "sh" {
			continue
		}
		for line := range strings.Lines(b.Text) {
			args := words(strings.TrimSpace(line))
			if len(args) < 2 || args[0] != "plumbhook" {
				t.Errorf("line %d: no command of ours: %s", b.Line, line)
				continue
			}
			count++
			if strings.Contains(line, "--data") && !strings.Contains(line, "--on ") {
				args = append(args, "--on", "2026-11-25") // the page is about today, whenever that is
			}
			if status, _, errs := run(args[1:]...); status != exitHolds && status != exitFails || errs != "" {
				t.Errorf("%s: status %d, %s", strings.TrimSpace(line), status, errs)
			}
		}
	}
	if count < least {
		t.Errorf("only %d commands", count)
	}
}

// words parts a command line at blanks outside double quotes.
func words(line string) (all []string) {
	for i, part := range strings.Split(line, `"`) {
		if i%2 == 1 {
			all = append(all, part)
		} else {
			all = append(all, strings.Fields(part)...)
		}
	}
	return all
}
