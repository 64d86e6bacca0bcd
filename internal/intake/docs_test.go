package intake_test

import (
	"os"
	"strings"
	"testing"
	"testing/fstest"

	"plumbhook/internal/doccheck"
	"plumbhook/internal/intake"
)

// The channel maps and calibrations that the page for gateways shows are valid.
func TestDocs(t *testing.T) {
	text, err := os.ReadFile("../../docs/gateways.md")
	if err != nil {
		t.Fatal(err)
	}
	maps := 0
	for _, b := range doccheck.Read(string(text)).Blocks {
		if b.Kind != "yaml channel map" {
			continue
		}
		maps++
		if _, err := intake.Read("docs/gateways.md", nil, []byte(b.Text)); err != nil {
			t.Errorf("the map in line %d: %v", b.Line, err)
		}
	}
	if maps != 5 {
		t.Errorf("%d maps are shown, want 5", maps)
	}
	// The calibration stands in a list item, indented.
	_, cal, _ := strings.Cut(string(text), "```yaml calibration\n")
	cal, _, _ = strings.Cut(cal, "```")
	files := fstest.MapFS{"cal.yaml": {Data: []byte(cal)}}
	if _, err := intake.Read("m.yaml", files, []byte(`channel_map: 1
gateways: {a: {kind: mqtt, password: {env: A}}}
channels: {E: {gateway: a, kind: load cell, address: x, signal: mV/V, serial: LC-1042, calibration: cal.yaml}}
`)); err != nil {
		t.Error(err)
	}
}
