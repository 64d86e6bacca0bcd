package cli

import (
	"fmt"
	"slices"
	"strings"

	"github.com/alecthomas/kong"
)

type manualCmd struct{}

// Help says in which form.
func (*manualCmd) Help() string {
	return "Prints the manual page in the form that man reads, made from the same list of commands that --help is. Exit status: 0 printed; 2 wrong usage; 3 anything else."
}

// Run prints it.
func (*manualCmd) Run(e *env, ctx *kong.Context) error {
	var b strings.Builder
	fmt.Fprintf(&b, ".TH PLUMBHOOK 1 \"\" \"plumbhook %s\" \"User Commands\"\n.SH NAME\nplumbhook \\- plan a lift, watch it live through load cells, keep the record\n.SH SYNOPSIS\n.B plumbhook\n.I COMMAND\n[\\fIOPTION\\fR]...\n.SH DESCRIPTION\n%s\n", roff(version()), roff(about))
	for _, n := range leavesOf(ctx.Model.Node) {
		fmt.Fprintf(&b, ".SH %s\n.B plumbhook %s\n.PP\n%s\n", roff(strings.ToUpper(n.name)), roff(n.Summary()), roff(n.Help))
		if n.Detail != "" {
			fmt.Fprintf(&b, ".PP\n%s\n", roff(n.Detail))
		}
		for _, p := range n.Positional {
			fmt.Fprintf(&b, ".TP\n.I %s\n%s\n", roff(p.Summary()), roff(p.Help))
		}
		for _, f := range n.Flags {
			if f.Name != "help" {
				fmt.Fprintf(&b, ".TP\n.B %s\n%s\n", roff(f.String()), roff(helpOf(f)))
			}
		}
	}
	return write(e.out, []byte(b.String()))
}

// helpOf is the help of an option with its default filled in.
func helpOf(f *kong.Flag) string {
	return strings.NewReplacer("${default}", f.Default, "${enum}", f.Enum).Replace(f.Help)
}

// leaf is a command that does something.
type leaf struct {
	*kong.Node
	name string
}

func leavesOf(n *kong.Node) (all []leaf) {
	for _, c := range n.Children {
		if c.Hidden {
			continue
		}
		if c.Leaf() {
			all = append(all, leaf{c, strings.TrimPrefix(c.Path(), "plumbhook ")})
		}
		all = append(all, leavesOf(c)...)
	}
	slices.SortFunc(all, func(a, b leaf) int { return strings.Compare(a.name, b.name) })
	return all
}

// roff writes text so that man shows it as it is.
func roff(text string) string {
	text = strings.NewReplacer(`\`, `\e`, "-", `\-`).Replace(text)
	lines := strings.Split(text, "\n")
	for i, l := range lines {
		if l = strings.TrimSpace(l); strings.HasPrefix(l, ".") || strings.HasPrefix(l, "'") {
			l = `\&` + l
		}
		if lines[i] = l; l == "" {
			lines[i] = ".PP"
		}
	}
	return strings.Join(lines, "\n")
}

type completeCmd struct {
	Shell string `arg:"" enum:"bash,zsh,fish" help:"bash, zsh or fish."`
}

// Help says how it is used.
func (*completeCmd) Help() string {
	return `For bash: plumbhook complete bash > /etc/bash_completion.d/plumbhook. The Debian package has them in place. Exit status: 0 printed; 2 wrong usage; 3 anything else.`
}

// Run prints the script. Words that are no option complete to files.
func (c *completeCmd) Run(e *env, ctx *kong.Context) error {
	options := map[string][]string{} // by the words before
	helps := map[string]string{}
	var walk func(n *kong.Node, path string)
	walk = func(n *kong.Node, path string) {
		for _, child := range n.Children {
			if child.Hidden || child.Type != kong.CommandNode {
				continue
			}
			options[path] = append(options[path], child.Name)
			below := strings.TrimSpace(path + " " + child.Name)
			helps[below] = child.Help
			walk(child, below)
		}
		for _, f := range n.Flags {
			options[path] = append(options[path], "--"+f.Name)
		}
	}
	walk(ctx.Model.Node, "")
	paths := make([]string, 0, len(options))
	for p := range options {
		paths = append(paths, p)
	}
	slices.Sort(paths)
	var b strings.Builder
	if c.Shell == "fish" {
		for _, p := range paths {
			for _, o := range options[p] {
				when := "__fish_use_subcommand"
				if p != "" {
					when = "__fish_seen_subcommand_from " + p[strings.LastIndex(p, " ")+1:]
				}
				if name, is := strings.CutPrefix(o, "--"); is {
					fmt.Fprintf(&b, "complete -c plumbhook -n '%s' -l %s\n", when, name)
				} else {
					fmt.Fprintf(&b, "complete -c plumbhook -n '%s' -f -a %s -d '%s'\n", when, o, strings.ReplaceAll(helps[strings.TrimSpace(p+" "+o)], "'", `\'`))
				}
			}
		}
		return write(e.out, []byte(b.String()))
	}
	if c.Shell == "zsh" {
		b.WriteString("#compdef plumbhook\nautoload -U +X bashcompinit && bashcompinit\n")
	}
	b.WriteString("_plumbhook() {\n  local path= w\n  for w in \"${COMP_WORDS[@]:1:COMP_CWORD-1}\"; do\n    case \"$path $w\" in\n")
	for _, p := range paths {
		if p != "" {
			up, last := "", p
			if i := strings.LastIndex(p, " "); i >= 0 {
				up, last = p[:i], p[i+1:]
			}
			fmt.Fprintf(&b, "      '%s %s') path='%s' ;;\n", up, last, p)
		}
	}
	b.WriteString("    esac\n  done\n  case \"$path\" in\n")
	for _, p := range paths {
		fmt.Fprintf(&b, "    '%s') w='%s' ;;\n", p, strings.Join(options[p], " "))
	}
	b.WriteString("  esac\n  COMPREPLY=($(compgen -W \"$w\" -- \"${COMP_WORDS[COMP_CWORD]}\"))\n}\ncomplete -o default -F _plumbhook plumbhook\n")
	return write(e.out, []byte(b.String()))
}
