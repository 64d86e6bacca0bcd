package metrology

import "gonum.org/v1/gonum/stat/distuv"

// ChanceAbove gives the probability that the true value behind a result y of
// standard uncertainty u exceeds a limit, if it is normal:
//
//	p = Φ((y - limit)/u)
//
// (JCGM 106:2012, 7.3). A result without uncertainty is above or it is not.
func ChanceAbove(limit, y, u float64) float64 {
	if u == 0 {
		if y > limit {
			return 1
		}
		return 0
	}
	return distuv.UnitNormal.CDF((y - limit) / u)
}

// ChanceWithin gives the probability that it lies between two limits (7.4).
func ChanceWithin(low, high, y, u float64) float64 {
	return ChanceAbove(low, y, u) - ChanceAbove(high, y, u)
}
