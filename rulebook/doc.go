// Package rulebook checks a hung lift against one family of codes, us or eu,
// against what holds whatever the code, and against a firm's own rules.
//
// It solves nothing. Tensions, angles and poses come from lift, facts about
// gear from gear, those about machines from crane; what is here is which of
// them a rule looks at, and the sentence a rigger would say.
//
// A rule ends in one of three ways, each a value: a Finding with its severity,
// a Finding without one (it was checked and holds), or an Open question that
// says what is missing. Nothing that is not stated is taken to be harmless.
//
// The rules are the rows of rules.csv: clause, edition, how well the source is
// known here, the limit where it is one number. The judges, one file for each
// family, are listed in rules.go. A firm's rules add findings and take none
// away (site.go).
package rulebook
