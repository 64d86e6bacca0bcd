package cli

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"

	"plumbhook/fault"
	"plumbhook/quantity"
	"plumbhook/register"
)

type gearExamineCmd struct {
	Serial string   `arg:"" help:"Serial of the item."`
	Report string   `arg:"" optional:"" help:"Report (YAML), as --blank prints it."`
	Blank  bool     `help:"Print a report to fill in, with what is known of the item."`
	Attach []string `placeholder:"FILE" help:"Files to attach, such as the signed report."`
}

// Run records a report. One that lacks a particular that LOLER 1998 Schedule 1
// asks for is refused.
func (c *gearExamineCmd) Run(g *gearCmd, e *env) error {
	if c.Blank == (c.Report != "") {
		return fault.New(fault.Missing, "examine needs either a report or --blank").Fix("gear examine %s --blank prints a report to fill in", c.Serial)
	}
	if c.Blank {
		return g.with(false, func(ctx context.Context, s register.Store) error {
			it, err := s.Item(ctx, c.Serial)
			if err == nil {
				_, err = fmt.Fprint(e.out, blankReport(&it))
			}
			return err
		})
	}
	data, err := readBounded(c.Report, maxReport)
	if err != nil {
		return err
	}
	x, file, err := readReport(c.Report, data, c.Serial)
	if err != nil {
		return err
	}
	return g.change(e, c.Serial, c.Attach, func(it *register.Item, files []register.File) (register.Change, error) {
		x.Files = files
		if err := file.place(c.Report, x.Check(it, g.day())).Err(); err != nil {
			return nil, err
		}
		return *x, nil
	})
}

// A report is a page of text; more would only tie up the parser.
const maxReport = 32 << 10

// reportForm is the form, by the paragraphs of LOLER 1998 Schedule 1.
type reportForm struct {
	Serial        string         `yaml:"serial"`
	Employer      reportParty    `yaml:"employer"`
	Premises      string         `yaml:"premises"`
	Particulars   string         `yaml:"particulars"`
	Made          string         `yaml:"made"`
	Last          string         `yaml:"last"`
	SWL           string         `yaml:"swl"`
	Configuration string         `yaml:"configuration"`
	Basis         string         `yaml:"basis"`
	InstalledWell string         `yaml:"installed_well"`
	Safe          string         `yaml:"safe"`
	Defects       []reportDefect `yaml:"defects"`
	Next          string         `yaml:"next"`
	Tests         string         `yaml:"tests"`
	On            string         `yaml:"on"`
	Examiner      reportExaminer `yaml:"examiner"`
	SignedBy      reportParty    `yaml:"signed_by"`
	Reported      string         `yaml:"reported"`
}

type reportParty struct {
	Name    string `yaml:"name"`
	Address string `yaml:"address"`
}

type reportDefect struct {
	Part   string `yaml:"part"`
	Defect string `yaml:"defect"`
	Remedy string `yaml:"remedy"`
	Danger string `yaml:"danger"` // now, or the day by which it could become one
}

type reportExaminer struct {
	Name           string      `yaml:"name"`
	Address        string      `yaml:"address"`
	Qualifications string      `yaml:"qualifications"`
	SelfEmployed   string      `yaml:"self_employed"`
	Employer       reportParty `yaml:"employer"`
}

func blankReport(it *register.Item) string {
	q := func(s string) string {
		if s == "" {
			return ""
		}
		return " " + strconv.Quote(s)
	}
	return `# Report of thorough examination. The numbers are the paragraphs of
# Schedule 1 of the Lifting Operations and Lifting Equipment Regulations 1998.
serial:` + q(it.Serial) + `
employer:            # 1: for whom the examination was made
  name:
  address:
premises:            # 2: address where it was made
particulars:` + q(it.Kind) + `
made:` + q(string(it.Made)) + `  # 3: date of manufacture, where known
last:` + q(string(it.Examined)) + `  # 4: date of the last thorough examination
swl:` + q(rating(it)) + `  # 5: with its unit
configuration:       # 5: in which that SWL holds, where it depends on one
basis:               # 6, 7: ` + register.Bases() + `
installed_well:      # 6: yes or no, after installation only
safe:                # 6, 7: yes or no: would be safe to operate
defects: []          # 8: - {part: pin, defect: bent, remedy: replace it, danger: now}; or danger: 2026-09-01
next:                # 8: latest day of the next thorough examination
tests:               # 8: particulars of any test
on:                  # 8: day of this examination
examiner:            # 9
  name:
  address:
  qualifications:
  self_employed: no
  employer:
    name:
    address:
signed_by:           # 10: who authenticates the report for the examiner, if somebody else
  name:
  address:
reported:            # 11: date of this report
`
}

// reportFile finds where a key stands.
type reportFile struct{ tree *ast.File }

// place gives each fault the place of the key in its Where.
func (r reportFile) place(name string, list fault.List) fault.List {
	for _, f := range list {
		f.Pos.File = name
		path, err := yaml.PathString("$." + zeroBased(f.Where))
		if err != nil {
			continue
		}
		if n, err := path.FilterFile(r.tree); err == nil && n.GetToken() != nil {
			f.Pos.Line, f.Pos.Column = n.GetToken().Position.Line, n.GetToken().Position.Column
		}
	}
	return list
}

// zeroBased turns defects[1], as a person counts, into defects[0].
func zeroBased(where string) string {
	before, rest, ok := strings.Cut(where, "[")
	n, after, ok2 := strings.Cut(rest, "]")
	i, err := strconv.Atoi(n)
	if !ok || !ok2 || err != nil {
		return where
	}
	return fmt.Sprintf("%s[%d]%s", before, i-1, after)
}

// readReport reads the form; what its particulars say is checked later,
// against the item.
func readReport(name string, data []byte, serial string) (*register.Examination, reportFile, error) {
	pos := fault.Pos{File: name}
	if len(data) > maxReport || strings.Count(string(data), "[")+strings.Count(string(data), "{") > 200 {
		return nil, reportFile{}, fault.New(fault.TooLarge, "the report is longer than a report can be").At(pos).Fix("attach long texts as a file")
	}
	var form reportForm
	tree, err := parser.ParseBytes(data, 0)
	if err == nil {
		err = yaml.UnmarshalWithOptions(data, &form, yaml.DisallowUnknownField())
	}
	var y yaml.Error
	if errors.As(err, &y) {
		if tk := y.GetToken(); tk != nil {
			pos.Line, pos.Column = tk.Position.Line, tk.Position.Column
		}
		return nil, reportFile{}, fault.New(fault.Syntax, "the report cannot be read: %s", y.GetMessage()).At(pos).Fix("compare it with what gear examine --blank prints")
	}
	if err != nil {
		return nil, reportFile{}, fault.New(fault.Syntax, "the report cannot be read").At(pos).Because(err).Fix("compare it with what gear examine --blank prints")
	}
	file := reportFile{tree}
	var list fault.List
	add := func(where string, err error) {
		for _, f := range fault.Of(err) {
			list = append(list, f.In(where))
		}
	}
	date := func(where, s string) (d register.Date) {
		add(where, d.UnmarshalText([]byte(s)))
		return d
	}
	yes := func(where, s string, needed bool) bool {
		switch strings.ToLower(s) {
		case "yes", "true":
			return true
		case "no", "false":
			return false
		case "":
			if needed {
				add(where, fault.New(fault.Missing, "the report does not say").Fix("write yes or no"))
			}
			return false
		}
		add(where, fault.New(fault.Syntax, "%q is neither yes nor no", s).Fix("write yes or no"))
		return false
	}
	if register.Key(form.Serial) != register.Key(serial) {
		add("serial", fault.New(fault.Disagree, "the report is about %q, the command about %q", form.Serial, serial).Fix("one of both is wrong"))
	}
	x := &register.Examination{
		Employer: register.Party(form.Employer), Premises: form.Premises, Particulars: form.Particulars,
		Made: date("made", form.Made), Last: date("last", form.Last), Configuration: form.Configuration,
		Basis: register.Basis(form.Basis), InstalledWell: yes("installed_well", form.InstalledWell, form.Basis == string(register.Installed)),
		Safe: yes("safe", form.Safe, true), Next: date("next", form.Next), Tests: form.Tests, On: date("on", form.On),
		Examiner: register.Examiner{
			Party:          register.Party{Name: form.Examiner.Name, Address: form.Examiner.Address},
			Qualifications: form.Examiner.Qualifications, SelfEmployed: yes("examiner.self_employed", form.Examiner.SelfEmployed, false),
			Employer: register.Party(form.Examiner.Employer),
		},
		SignedBy: register.Party(form.SignedBy), Reported: date("reported", form.Reported),
	}
	if form.SWL != "" {
		r, err := quantity.ParseRating(form.SWL)
		add("swl", err)
		x.SWL = &r
	}
	for i, d := range form.Defects {
		where := fmt.Sprintf("defects[%d]", i+1)
		defect := register.Defect{Part: d.Part, What: d.Defect, Remedy: d.Remedy}
		switch d.Danger {
		case "now":
		case "":
			add(where, fault.New(fault.Missing, "when does it become a danger?").Fix("write danger: now, or the day by which it could become one"))
		default:
			defect.By = date(where, d.Danger)
		}
		x.Defects = append(x.Defects, defect)
	}
	return x, file, file.place(name, list).Err()
}
