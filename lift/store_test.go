package lift_test

import (
	"errors"
	"testing"

	"plumbhook/fault"
	"plumbhook/lift"
)

// TestReadWith: an entry without a kind takes what the register has; what the
// file says itself goes before; a serial that nobody knows stays one.
func TestReadWith(t *testing.T) {
	store := func(serial string) (string, map[string]string, bool) {
		switch serial {
		case "KP-1":
			return "load cell", map[string]string{"serial": serial, "capacity": "5 t", "accuracy": "0.1 % fs", "wll": "5 t", "length": "0.3 m", "mass": "4 kg", "shelf": "3"}, true
		case "KP-2":
			return "wire rope sling", map[string]string{"wll": "3.5 t", "length": "2.1 m", "diameter": "20"}, true
		}
		return "", nil, false
	}
	file := func(stack string) ([]byte, string) {
		return []byte(with(t, "to: load.east, length: 2.4 m}", "to: load.east, stack: ["+stack+"]}")), "test.yaml"
	}
	data, name := file("{serial: KP-1, channel: E, length: 0.31 m}, {serial: KP-2, diameter: 20 mm}")
	l, err := lift.ReadWith(name, nil, data, store)
	if err != nil {
		t.Fatal(err)
	}
	leg := &l.Legs[1]
	cell, sling := &leg.Stack[0], &leg.Stack[1]
	if cell.Kind != "load cell" || cell.Cell == nil || cell.Cell.Capacity.Text != "5 t" || !cell.Cell.Accuracy.OfFullScale || cell.Cell.Channel != "E" {
		t.Errorf("cell %+v", cell)
	}
	agree(t, "length of the leg", float64(leg.Length.Value), 2.41, 1e-12)
	if sling.WLL == nil || sling.WLL.Text != "3.5 t" {
		t.Fatalf("sling %+v", sling)
	}
	if source, tag := sling.Rated(); source != "gear register, serial KP-2" || !tag {
		t.Errorf("rated by %q, %v", source, tag)
	}

	// The register's own slip is told where the serial stands.
	data, name = file("{serial: KP-1, channel: E}, {serial: KP-2}")
	_, err = lift.ReadWith(name, nil, data, store)
	if all := fault.Of(err); len(all) != 1 || all[0].Code != fault.NoUnit || all[0].Pos.Line == 0 {
		t.Errorf("%v", err)
	}
	for stack, needs := range map[string]bool{"{serial: KP-9}": false, "{kind: sling, serial: KP-9}": false} {
		data, name = file(stack)
		if _, err = lift.ReadWith(name, nil, data, store); err == nil || errors.Is(fault.Of(err)[0], lift.ErrNeedsRegister) != needs {
			t.Errorf("%s: %v", stack, err)
		}
	}
	data, name = file("{serial: KP-9}")
	if _, err = lift.Read(name, nil, data); err == nil || !errors.Is(fault.Of(err)[0], lift.ErrNeedsRegister) {
		t.Errorf("without a register: %v", err)
	}
}
