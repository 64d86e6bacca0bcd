package quantity_test

import (
	"testing"

	"plumbhook/quantity"
)

func BenchmarkParse(b *testing.B) {
	for b.Loop() {
		if _, err := quantity.Parse[quantity.Mass]("4100 kg ± 2 %"); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkParsePoint(b *testing.B) {
	for b.Loop() {
		if _, err := quantity.ParsePoint("0.85 0 1.1 m ± 20 mm"); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkRefuse(b *testing.B) {
	for b.Loop() {
		if _, err := quantity.Parse[quantity.Stiffness]("5 kN/MM"); err == nil {
			b.Fatal("accepted")
		}
	}
}

func BenchmarkFormat(b *testing.B) {
	m, err := quantity.Parse[quantity.Mass]("4100 kg ± 2 %")
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		_ = m.Format("lb")
	}
}
