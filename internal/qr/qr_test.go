package qr_test

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"plumbhook/fault"
	"plumbhook/internal/qr"
)

func labels(n int) []qr.Label {
	var list []qr.Label
	for i := range n {
		serial := fmt.Sprintf("KP-%04d", i)
		list = append(list, qr.Label{
			Code: "plumbhook:gear:" + serial, Title: serial,
			Lines: []qr.Line{{Text: "bow shackle"}, {Text: "WLL 6.5 short ton", Bold: true}, {Text: "examine by 2026-07-12"}},
		})
	}
	return list
}

// awkward are labels that do not fit as they are.
var awkward = []qr.Label{
	{Code: "plumbhook:gear:ÄÖ 0815/倉", Title: "ÄÖ 0815/倉", Lines: []qr.Line{{Text: strings.Repeat("four leg chain sling ", 6)}}},
	{Code: "plumbhook:gear:" + strings.Repeat("W", 40), Title: strings.Repeat("W", 40)},
}

func sheet(t *testing.T, list []qr.Label) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := qr.Sheet(&b, "Gear labels", list); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestSheet(t *testing.T) {
	for _, c := range []struct{ labels, pages int }{{1, 1}, {24, 1}, {25, 2}, {49, 3}} {
		pdf := sheet(t, labels(c.labels))
		if !bytes.HasPrefix(pdf, []byte("%PDF-")) || !bytes.Contains(pdf, fmt.Appendf(nil, "/Count %d\n", c.pages)) {
			t.Errorf("%d labels do not make %d pages", c.labels, c.pages)
		}
		if !bytes.Equal(pdf, sheet(t, labels(c.labels))) {
			t.Errorf("%d labels gave other bytes the second time", c.labels)
		}
	}
	var b bytes.Buffer
	err := qr.Sheet(&b, "", []qr.Label{{Code: strings.Repeat("x", 5000)}})
	if fs := fault.Of(err); len(fs) != 1 || fs[0].Code != fault.TooLarge {
		t.Errorf("5,000 letters in a code: %v", err)
	}
}

// TestReadable prints a sheet, lets another program look at the picture, and
// compares what it reads. It needs pdftoppm and zbarimg (Debian:
// poppler-utils, zbar-tools).
func TestReadable(t *testing.T) {
	for _, tool := range []string{"pdftoppm", "zbarimg"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Skip(tool + " is not installed")
		}
	}
	list := append(labels(22), awkward...)
	pdf := filepath.Join(t.TempDir(), "labels.pdf")
	if err := os.WriteFile(pdf, sheet(t, list), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("pdftoppm", "-r", "200", "-png", "-singlefile", pdf, strings.TrimSuffix(pdf, ".pdf")).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	out, err := exec.Command("zbarimg", "-q", "--raw", strings.TrimSuffix(pdf, ".pdf")+".png").Output()
	if err != nil {
		t.Fatal(err)
	}
	got := strings.Split(strings.TrimSpace(string(out)), "\n")
	var want []string
	for _, l := range list {
		want = append(want, l.Code)
	}
	slices.Sort(got)
	slices.Sort(want)
	if !slices.Equal(got, want) {
		t.Errorf("read %q\nwant %q", got, want)
	}
	if dir := os.Getenv("PLUMBHOOK_TEST_KEEP"); dir != "" { // to look at
		png, err := os.ReadFile(strings.TrimSuffix(pdf, ".pdf") + ".png")
		if err == nil {
			err = os.WriteFile(filepath.Join(dir, "labels.png"), png, 0o600)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
}
