// Package arch holds the shape of the program as data, which package may
// import which and what a package that only computes must not touch, and
// finds where the source departs from it.
//
// It reads source text alone, whatever the build constraints, so a file that
// this machine would not build is checked as well. Test files may import
// anything.
package arch

import (
	"cmp"
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"go/types"
	"io/fs"
	"path"
	"slices"
	"strconv"
	"strings"
)

// Check reads the module in fsys and gives one line for each departure, with
// place and reason, in order of place. The error is of reading or parsing.
func Check(fsys fs.FS) ([]string, error) {
	c := checker{fset: token.NewFileSet(), present: map[string]bool{}, used: map[edge]bool{}}
	pkgs, err := c.parse(fsys)
	if err != nil {
		return nil, err
	}
	for _, p := range pkgs {
		c.present[p.path] = true
		c.imports(p)
		c.packageDoc(p)
		if !strings.HasPrefix(p.path, "internal/") && !strings.HasPrefix(p.path, "cmd/") && !slices.Contains(beside, p.path) {
			c.exportedDocs(p)
			if p.path != "contract" {
				c.jsonTags(p)
			}
		}
		if home, _ := place(p.path); pure(home) {
			c.purity(p)
		}
	}
	for _, e := range sideways {
		if c.present[e.from] && c.present[e.to] && !c.used[e] {
			c.breach(token.NoPos, "%s no longer imports %s: take the edge out of the list", e.from, e.to)
		}
	}
	slices.SortFunc(c.breaches, func(a, b breach) int {
		return cmp.Or(cmp.Compare(a.at.Filename, b.at.Filename), cmp.Compare(a.at.Line, b.at.Line), cmp.Compare(a.what, b.what))
	})
	lines := make([]string, len(c.breaches))
	for i, b := range c.breaches {
		lines[i] = b.what
		if b.at.IsValid() {
			lines[i] = fmt.Sprintf("%s:%d: %s", b.at.Filename, b.at.Line, b.what)
		}
	}
	return lines, nil
}

type breach struct {
	at   token.Position
	what string
}

type checker struct {
	fset     *token.FileSet
	present  map[string]bool
	used     map[edge]bool // of sideways
	breaches []breach
}

func (c *checker) breach(pos token.Pos, format string, args ...any) {
	c.breaches = append(c.breaches, breach{c.fset.Position(pos), fmt.Sprintf(format, args...)})
}

// A pkg is a folder of Go files; path is relative to the module.
type pkg struct {
	path  string
	files []*ast.File // shipped code
	tests []*ast.File
}

// all gives every file of the package.
func (p *pkg) all() []*ast.File { return slices.Concat(p.files, p.tests) }

// parse reads all packages, in order of path.
func (c *checker) parse(fsys fs.FS) ([]*pkg, error) {
	var pkgs []*pkg
	err := fs.WalkDir(fsys, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			if name != "." && skipped(d.Name()) {
				return fs.SkipDir
			}
			return nil
		}
		if path.Ext(name) != ".go" {
			return nil
		}
		src, err := fs.ReadFile(fsys, name)
		if err != nil {
			return err
		}
		f, err := parser.ParseFile(c.fset, name, src, parser.ParseComments|parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		dir := path.Dir(name)
		i := slices.IndexFunc(pkgs, func(p *pkg) bool { return p.path == dir })
		if i < 0 {
			i = len(pkgs)
			pkgs = append(pkgs, &pkg{path: dir})
		}
		if strings.HasSuffix(name, "_test.go") {
			pkgs[i].tests = append(pkgs[i].tests, f)
		} else {
			pkgs[i].files = append(pkgs[i].files, f)
		}
		return nil
	})
	if err == nil && len(pkgs) == 0 {
		err = errors.New("no Go files")
	}
	return pkgs, err
}

// skipped tells the folders that the go command ignores, and those of build
// results.
func skipped(dir string) bool {
	return dir[0] == '.' || dir[0] == '_' || slices.Contains([]string{"testdata", "vendor", "node_modules", "build"}, dir)
}

// place gives the listed package that pkg is or is nested in, and its layer
// counted from the top; the layer of packages beside them is -1, and home is
// empty for one that is nowhere on the map.
func place(pkg string) (home string, row int) {
	for i, l := range layers {
		for _, home := range l.packages {
			if within(pkg, home) {
				return home, i
			}
		}
	}
	for _, home := range beside {
		if within(pkg, home) {
			return home, -1
		}
	}
	return "", -1
}

// within tells whether an import path is parent or nested in it.
func within(p, parent string) bool {
	return p == parent || strings.HasPrefix(p, parent+"/")
}

// imports holds the shipped files of a package against the layers.
func (c *checker) imports(p *pkg) {
	home, row := place(p.path)
	if home == "" {
		c.breach(p.all()[0].Package, "package %s is on no layer: give it a place in the map", p.path)
		return
	}
	if row < 0 {
		return
	}
	for _, f := range p.files {
		for _, spec := range f.Imports {
			full, _ := strconv.Unquote(spec.Path.Value)
			to, ours := strings.CutPrefix(full, module+"/")
			if !ours {
				continue
			}
			toHome, toRow := place(to)
			ban := slices.IndexFunc(never, func(e edge) bool { return e.from == home && e.to == toHome })
			side := slices.IndexFunc(sideways, func(e edge) bool { return e.from == home && e.to == toHome })
			switch {
			case toHome == home:
			case toHome == "":
				c.breach(spec.Pos(), "%s imports %s, which is on no layer", p.path, to)
			case ban >= 0:
				c.breach(spec.Pos(), "%s must not import %s: %s", p.path, to, never[ban].why)
			case toRow < 0:
				c.breach(spec.Pos(), "%s imports %s, which serves tests only", p.path, to)
			case toRow > row:
				c.breach(spec.Pos(), "%s (%s) imports %s from the layer below it (%s)", p.path, layers[row].name, to, layers[toRow].name)
			case toRow == row && side < 0:
				c.breach(spec.Pos(), "%s imports %s from its own layer (%s) without a listed reason", p.path, to, layers[row].name)
			case toRow == row:
				c.used[sideways[side]] = true
			}
		}
	}
}

// packageDoc asks each package to say what it is.
func (c *checker) packageDoc(p *pkg) {
	files := p.all()
	for _, f := range files {
		name := strings.TrimSuffix(f.Name.Name, "_test")
		lead := "Package " + name + " "
		if name == "main" {
			lead = "Command "
		}
		if f.Doc != nil && strings.HasPrefix(f.Doc.Text(), lead) {
			return
		}
	}
	c.breach(files[0].Package, "package %s has no comment that says what it is", p.path)
}

// exportedDocs asks each exported name of the public packages for a comment.
// In a group the comment of the group, or one at the end of the line, will do.
func (c *checker) exportedDocs(p *pkg) {
	missing := func(id *ast.Ident, docs ...*ast.CommentGroup) {
		if id.IsExported() && !slices.ContainsFunc(docs, func(d *ast.CommentGroup) bool { return d.Text() != "" }) {
			c.breach(id.Pos(), "exported %s has no comment", id.Name)
		}
	}
	for _, f := range p.files {
		for _, d := range f.Decls {
			switch d := d.(type) {
			case *ast.FuncDecl:
				if r := receiver(d); r == nil || r.IsExported() {
					missing(d.Name, d.Doc)
				}
			case *ast.GenDecl:
				for _, s := range d.Specs {
					switch s := s.(type) {
					case *ast.TypeSpec:
						missing(s.Name, s.Doc, s.Comment, d.Doc)
					case *ast.ValueSpec:
						for _, id := range s.Names {
							missing(id, s.Doc, s.Comment, d.Doc)
						}
					}
				}
			}
		}
	}
}

// receiver gives the type name a method belongs to; nil for a function.
func receiver(d *ast.FuncDecl) *ast.Ident {
	if d.Recv == nil || len(d.Recv.List) == 0 {
		return nil
	}
	return root(d.Recv.List[0].Type)
}

// root gives the identifier an expression starts with, *a.b[i] -> a; nil when
// it starts with something else, a call for example.
func root(e ast.Expr) *ast.Ident {
	for {
		switch x := e.(type) {
		case *ast.Ident:
			return x
		case *ast.SelectorExpr:
			e = x.X
		case *ast.IndexExpr:
			e = x.X
		case *ast.IndexListExpr:
			e = x.X
		case *ast.StarExpr:
			e = x.X
		case *ast.ParenExpr:
			e = x.X
		default:
			return nil
		}
	}
}

// jsonTags keeps the JSON shapes in one package.
func (c *checker) jsonTags(p *pkg) {
	for _, f := range p.files {
		ast.Inspect(f, func(n ast.Node) bool {
			if field, ok := n.(*ast.Field); ok && field.Tag != nil && strings.Contains(field.Tag.Value, `json:`) {
				c.breach(field.Tag.Pos(), "a JSON tag on a domain type: JSON shapes belong to package contract")
			}
			return true
		})
	}
}

// purity holds a package that only computes to that: no way to the world, and
// no package variable that a function assigns to. A variable changed through
// a pointer is not seen here.
func (c *checker) purity(p *pkg) {
	for _, f := range p.files {
		for _, spec := range f.Imports {
			full, _ := strconv.Unquote(spec.Path.Value)
			for _, o := range outside {
				if within(full, o.path) {
					c.breach(spec.Pos(), "%s must not import %s: %s", p.path, full, o.why)
				}
			}
		}
	}
	// Names are resolved without the imported packages: whatever the type
	// checker then says of their members does not matter here.
	uses := map[*ast.Ident]types.Object{}
	conf := types.Config{Importer: hollow{}, Error: func(error) {}}
	tp, _ := conf.Check(p.path, c.fset, p.files, &types.Info{Uses: uses})
	assigned := func(lhs ...ast.Expr) {
		for _, e := range lhs {
			if id := root(e); id != nil && uses[id] != nil && uses[id].Parent() == tp.Scope() {
				c.breach(e.Pos(), "%s assigns to the package variable %s: state comes in as an argument", p.path, id.Name)
			}
		}
	}
	for _, f := range p.files {
		ast.Inspect(f, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.AssignStmt:
				if n.Tok != token.DEFINE {
					assigned(n.Lhs...)
				}
			case *ast.IncDecStmt:
				assigned(n.X)
			case *ast.RangeStmt:
				if n.Tok == token.ASSIGN {
					assigned(n.Key)
					if n.Value != nil {
						assigned(n.Value)
					}
				}
			case *ast.SelectorExpr:
				id, _ := n.X.(*ast.Ident)
				name, ok := uses[id].(*types.PkgName)
				if !ok {
					return true
				}
				for _, call := range calls {
					if call.path == name.Imported().Path() && slices.Contains(call.names, n.Sel.Name) != call.except {
						c.breach(n.Pos(), "%s must not use %s.%s: %s", p.path, name.Imported().Name(), n.Sel.Name, call.why)
					}
				}
			}
			return true
		})
	}
}

// hollow imports packages that have a name and no members.
type hollow struct{}

// Import guesses the name as people who import do: the last element of
// the path that is not a major version.
func (hollow) Import(p string) (*types.Package, error) {
	name := path.Base(p)
	if len(name) > 1 && name[0] == 'v' && strings.Trim(name[1:], "0123456789") == "" {
		name = path.Base(path.Dir(p))
	}
	tp := types.NewPackage(p, name)
	tp.MarkComplete()
	return tp, nil
}
