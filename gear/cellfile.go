package gear

import (
	"regexp"

	"plumbhook/fault"
	"plumbhook/keyed"
)

var perKelvin = regexp.MustCompile(`^(.*) per (K|°C)$`)

// ReadShare reads a share of full scale or of the reading under a key of a load
// cell, nil when there is none; the other of the two is refused.
func ReadShare(r *keyed.Reader, n *keyed.Node, key string, ofFullScale bool) *float64 {
	it := r.Text(n, key, "")
	if it == nil {
		return nil
	}
	v, full, err := ParseAccuracy(it.Text)
	if err != nil {
		r.Adopt(it, err)
	} else if full != ofFullScale {
		r.Fault(it, fault.Ambiguous, "%s is a share of %s", key, map[bool]string{true: "full scale: write % fs", false: "the reading: write % of reading"}[ofFullScale])
	}
	return &v
}

// ReadTemperatureEffect reads what temperature does to a load cell, shares per K
// of full scale and of the reading, as 0.002 % fs per K; nil: not stated.
func ReadTemperatureEffect(r *keyed.Reader, n *keyed.Node, key string) (zeroPerK, spanPerK *float64) {
	for _, text := range r.Texts(n, key) {
		it := n.Get(key)
		m := perKelvin.FindStringSubmatch(text)
		if m == nil {
			r.Fault(it, fault.Syntax, "%s is no temperature effect", keyed.Quote(text)).Fix("write it as 0.002 %% fs per K or 0.001 %% of reading per K")
			continue
		}
		v, full, err := ParseAccuracy(m[1])
		if err != nil {
			r.Adopt(it, err)
		}
		if full {
			zeroPerK = &v
		} else {
			spanPerK = &v
		}
	}
	return zeroPerK, spanPerK
}
