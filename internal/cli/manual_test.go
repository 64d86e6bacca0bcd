package cli

import (
	"os/exec"
	"strings"
	"testing"
)

// The manual has every command and every option that --help has, and man reads
// it without a complaint.
func TestManual(t *testing.T) {
	status, page, errs := run("manual")
	if status != exitHolds {
		t.Fatal(errs)
	}
	contains(t, "the manual", page, ".SH GEAR IMPORT", ".SH SERVE", `\-\-plain\-http`, "127.0.0.1:8470", "releases nothing", "Exit status")
	if strings.Contains(page, "${") {
		t.Error("a default was not filled in")
	}
	if man, err := exec.LookPath("groff"); err == nil {
		cmd := exec.Command(man, "-man", "-Tutf8", "-ww", "-z")
		cmd.Stdin = strings.NewReader(page)
		if out, err := cmd.CombinedOutput(); err != nil || len(out) > 0 {
			t.Errorf("groff: %v %s", err, out)
		}
	}
}

// bash itself completes what a person has begun.
func TestComplete(t *testing.T) {
	bash, err := exec.LookPath("bash")
	if err != nil {
		t.Skip("bash is not installed")
	}
	_, script, _ := run("complete", "bash")
	for line, want := range map[string]string{
		"ser": "serve", "gear impo": "import", "serve --plain-h": "--plain-http", "backup --d": "--data", "gear --data x lis": "list", "xyz": "",
	} {
		words := strings.Fields(line)
		test := script + "\nCOMP_WORDS=(plumbhook " + line + "); COMP_CWORD=" + string(rune('0'+len(words))) + "; _plumbhook; echo \"${COMPREPLY[*]}\""
		out, err := exec.Command(bash, "-c", test).CombinedOutput()
		if got := strings.TrimSpace(string(out)); err != nil || got != want {
			t.Errorf("%q completes to %q, want %q (%v)", line, got, want, err)
		}
	}
	for _, shell := range []string{"zsh", "fish"} {
		if status, out, errs := run("complete", shell); status != exitHolds || !strings.Contains(out, "serve") {
			t.Errorf("%s: %d %s", shell, status, errs)
		}
	}
	if status, _, _ := run("complete", "none"); status != exitInvalid {
		t.Errorf("an unknown shell: %d", status)
	}
}
