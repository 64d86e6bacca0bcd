package audit

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func fill(t testing.TB, path string, n int) []byte {
	t.Helper()
	l, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	for range n {
		if err := l.Note(Entry{At: time.Unix(1_790_000_000, 0).UTC(), Who: "A. Rigger", From: "127.0.0.1", Did: "POST /api/users", Status: 200}); err != nil {
			t.Fatal(err)
		}
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestGoesOn(t *testing.T) {
	path := filepath.Join(t.TempDir(), "audit.jsonl")
	whole := fill(t, path, 3)
	if err := os.WriteFile(path, whole[:len(whole)-5], 0o600); err != nil { // killed in the middle of line 3
		t.Fatal(err)
	}
	fill(t, path, 2)
	n, head, _, err := Verify(path)
	if n != 4 || len(head) != 64 || err != nil {
		t.Errorf("%d lines, head %s, %v", n, head, err)
	}
}

// TestAltered: whatever byte changes and whatever line goes, the chain breaks or
// the head is another.
func TestAltered(t *testing.T) {
	path := filepath.Join(t.TempDir(), "audit.jsonl")
	whole := fill(t, path, 5)
	_, head, _, err := Verify(path)
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		bad := bytes.Clone(whole)
		if rapid.Bool().Draw(t, "a line goes") {
			lines := bytes.SplitAfter(bad, []byte("\n"))
			i := rapid.IntRange(0, 4).Draw(t, "line")
			bad = bytes.Join(append(lines[:i:i], lines[i+1:]...), nil)
		} else {
			i := rapid.IntRange(0, len(bad)-1).Draw(t, "byte")
			bad[i] ^= byte(rapid.IntRange(1, 255).Draw(t, "bits"))
		}
		if err := os.WriteFile(path, bad, 0o600); err != nil {
			t.Fatal(err)
		}
		if _, now, _, err := Verify(path); err == nil && now == head {
			t.Fatalf("nobody notices: %s", bad)
		}
	})
}
