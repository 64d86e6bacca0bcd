package lift

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"io/fs"

	"plumbhook/fault"
	"plumbhook/keyed"
)

// The files that a lift file names besides meshes: charts, and the rules of a
// firm.

// SiteRules are a firm's own rules, read from a file beside the lift file. What
// they say is for the rulebook to judge.
type SiteRules struct {
	File   string
	Firm   string
	Rules  []SiteRule
	SHA256 string // of the file's bytes, hexadecimal
}

// SiteRule is one rule: where If is true of a thing of its kind, there is a
// finding.
type SiteRule struct {
	Name     string
	Each     string // "lift", "leg", "part" or "hook"
	If       string // an expression
	IfPos    fault.Pos
	Severity string // "stop", "caution" or "note"
	Says     string // the sentence of the finding
	Source   string // clause of the firm's standard
	Cases    []SiteCase
	Pos      fault.Pos
}

// SiteCase is a test of a rule: with these values there must be a finding, or
// none.
type SiteCase struct {
	Given map[string]string // as written, by name
	Finds bool
	Pos   fault.Pos
}

// maxSiteRules bounds a file of rules in bytes, maxRules in number.
const (
	maxSiteRules = 64 << 10
	maxRules     = 200
)

var siteRulesFileForm = record("", "a file of site rules", nil, keys(
	needed("site_rules", whole("the version of the file format", 1, 1), func(*SiteRules, int) {}, "Version of the file format. Write 1."),
	at("firm", textForm, func(s *SiteRules, v string) { s.Firm = v }, "Whose rules they are."),
	needed("rules", listOf("a list of rules (- {name: ..., each: leg, if: ...})", siteRuleForm), func(s *SiteRules, v []SiteRule) { s.Rules = v }, "The rules."),
))

var siteRuleForm = record("", "a rule", func(s *SiteRule, n *keyed.Node) { s.Pos = n.Pos }, keys(
	needed("name", textForm, func(s *SiteRule, v string) { s.Name = v }, "What the rule is called."),
	needed("each", choice("what the rule looks at", option[string]{"lift", "lift"}, option[string]{"leg", "leg"}, option[string]{"part", "part"}, option[string]{"hook", "hook"}),
		func(s *SiteRule, v string) { s.Each = v }, "What the rule looks at, one by one: lift, leg, part (of a stack) or hook."),
	needed("if", ifForm, func(s *SiteRule, v placedText) { s.If, s.IfPos = v.text, v.pos }, "When there is a finding, as from_horizontal_deg < 45."),
	needed("severity", choice("a severity", option[string]{"stop", "stop"}, option[string]{"caution", "caution"}, option[string]{"note", "note"}),
		func(s *SiteRule, v string) { s.Severity = v }, "What the finding is: stop, caution or note."),
	needed("says", textForm, func(s *SiteRule, v string) { s.Says = v }, "The sentence of the finding."),
	needed("source", textForm, func(s *SiteRule, v string) { s.Source = v }, "Where the rule stands: clause of the firm's standard."),
	needed("cases", listOf("a list of cases (- {given: {...}, finds: true})", siteCaseForm), func(s *SiteRule, v []SiteCase) { s.Cases = v },
		"Cases that test the rule: one at least with a finding, one without."),
))

var siteCaseForm = record("", "a case", func(s *SiteCase, n *keyed.Node) { s.Pos = n.Pos }, keys(
	needed("given", lookup("a map of values by name", textForm), func(s *SiteCase, v map[string]string) { s.Given = v }, "Values the rule uses, by name."),
	needed("finds", truth(true), func(s *SiteCase, v bool) { s.Finds = v }, "Whether there must be a finding."),
))

type placedText struct {
	text string
	pos  fault.Pos
}

var ifForm = form[placedText]{
	read: func(r *reader, n *keyed.Node) (placedText, bool) {
		s, ok := textForm.read(r, n)
		return placedText{s, n.Pos}, ok
	},
	schema: textForm.in,
}

var siteRulesForm = mapped(fileNameForm, func(name string) *SiteRules { return &SiteRules{File: name} }).check(readSiteRules)

// readSiteRules reads the file of a firm's rules. Its mistakes are told with
// those of the lift file.
func readSiteRules(r *reader, n *keyed.Node, s **SiteRules) {
	name := (*s).File
	if r.files == nil {
		r.fault(n, fault.Path, "no folder to look for %s in", keyed.Quote(name)).Fix("read the lift from a folder")
		return
	}
	data, err := readFile(r.files, name, maxSiteRules)
	if err != nil {
		r.fault(n, fault.Path, "%s cannot be read", keyed.Quote(name)).Because(err).Fix("check the name; it counts from the folder of the lift file")
		return
	}
	root, faults := keyed.Tree(name, data, bounds)
	if root == nil {
		r.faults = append(r.faults, faults...)
		return
	}
	own := &reader{faults: faults, places: map[string]fault.Pos{}, blind: map[string]bool{}}
	root.SetPaths("", own.places)
	read, _ := siteRulesFileForm.read(own, root)
	if len(read.Rules) > maxRules {
		own.fault(root, fault.TooLarge, "the file has %d rules, the most is %d", len(read.Rules), maxRules).Fix("keep the ones that matter")
	}
	r.faults = append(r.faults, own.faults...)
	sum := sha256.Sum256(data)
	read.File, read.SHA256 = name, hex.EncodeToString(sum[:])
	*s = &read
}

// readChart fetches the bytes of a chart. One that is not there leaves a rule
// that is not assessed, and a lift that can be hung.
func readChart(r *reader, _ *keyed.Node, c *Crane) {
	switch {
	case c.Chart == "":
	case r.files == nil:
		c.ChartUnread = "there is no folder to look for it in"
	default:
		data, err := readFile(r.files, c.Chart, maxChart)
		var path *fs.PathError
		if errors.As(err, &path) {
			err = path.Err
		}
		if c.ChartData = data; err != nil {
			c.ChartUnread = c.Chart + ": " + err.Error()
		}
	}
}

// maxChart bounds a chart in bytes.
const maxChart = 1 << 20

var errTooLarge = errors.New("the file is too large")

// readFile reads a file of no more than so many bytes.
func readFile(files fs.FS, name string, most int64) ([]byte, error) {
	f, err := files.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, most+1))
	if err == nil && int64(len(data)) > most {
		err = errTooLarge
	}
	if err != nil {
		return nil, err
	}
	return data, nil
}
