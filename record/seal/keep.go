package seal

import "time"

// keepRules are the periods for which the law asks records to be kept that may
// stand in the record of a lift, by the family of codes of its plan.
var keepRules = []struct {
	family        string
	years, months int
	rule, source  string
}{
	{
		"eu", 2, 0,
		"LOLER 1998 regulation 11(2)(a): a report of thorough examination of an accessory two years, a periodic one two years and until the next",
		"legislation.gov.uk, uksi/1998/2307, as at 31 December 2020; law of Great Britain, other countries have their own",
	},
	{
		"us", 0, 12,
		"29 CFR 1926.1412: documents of the annual inspection of a crane 12 months, of the monthly one 3 months",
		"eCFR, title 29, part 1926, subpart CC",
	},
}

// KeepUntil gives the days until which a record sealed then has to be kept at
// least, by the rules of a family of codes, us or eu, or of all without one.
// These rules are about reports of examination and inspection that the record
// may hold or stand for. Of the record of a lift itself no law gives a period
// that is known here: contract, insurer and local law may ask for longer.
func KeepUntil(family string, sealed time.Time) []Keep {
	var out []Keep
	for _, r := range keepRules {
		if r.family == family || family == "" {
			out = append(out, Keep{sealed.UTC().AddDate(r.years, r.months, 0).Format(time.DateOnly), r.rule, r.source})
		}
	}
	return out
}
