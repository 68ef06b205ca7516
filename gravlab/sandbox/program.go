package sandbox

import (
	"fmt"
	"go/ast"
	"go/token"
	gotypes "go/types"
	"maps"
	"slices"
	"strconv"
	"strings"
)

// A program is the units of several cells in one: their declarations once, and a function for each
// cell.
type program struct {
	units   []*unit
	memory  *memory           // of the last unit: it holds everything that the others need
	imports map[string]string // path by name
	extra   map[string]*decl  // dot and blank imports by key
	runs    bool              // a unit does something when it is run
}

// group puts units together, in order, into as few programs as keep the
// meaning of each.
func group(units []*unit) []*program {
	var out []*program
	for _, u := range units {
		if n := len(out); n > 0 && out[n-1].take(u) {
			continue
		}
		p := &program{imports: map[string]string{}, extra: map[string]*decl{}}
		p.memory = newMemory()
		p.take(u)
		out = append(out, p)
	}
	return out
}

// take adds a unit to the program unless that changes what the units in it mean.
func (p *program) take(u *unit) bool {
	if len(p.units) > 0 && !p.fits(u) {
		return false
	}
	p.units, p.memory = append(p.units, u), u.memory
	maps.Copy(p.imports, u.imports)
	for _, d := range u.extra {
		p.extra[d.key] = d
	}
	p.runs = p.runs || u.main != nil || u.loud()
	return true
}

func (p *program) fits(u *unit) bool {
	for k := range u.memory {
		for key, d := range p.memory[k] {
			now := u.memory[k][key]
			if now == nil || now != d && (kind(k) != imports || now.text != d.text) && (now.text != d.text || now.key != d.key) {
				return false // declared again, in other words, or taken away
			}
		}
		for key, d := range u.memory[k] {
			// A new method changes what values of a type do, such as how they print.
			if p.memory[k][key] == nil && d.fn != nil && d.fn.Recv != nil && p.runs && p.hasType(receiver(d.fn)) {
				return false
			}
			// A name of Go's own, or one that a dot import brought, means something else
			// from now on.
			if p.memory[k][key] == nil && kind(k) != imports && slices.ContainsFunc(d.names, p.known) {
				return false
			}
		}
	}
	declared := map[string]bool{}
	for _, k := range []kind{types, consts, vars, funcs} {
		for _, d := range u.memory[k] {
			for _, name := range d.names {
				declared[name] = true
			}
		}
	}
	// A name cannot stand for two packages in one file, nor for a package and
	// a declaration.
	for name, path := range u.imports {
		if other, ok := p.imports[name]; ok && other != path {
			return false
		}
	}
	for name := range p.imports {
		if declared[name] {
			return false
		}
	}
	for _, d := range u.extra {
		// What a dot import declares may hide what other cells mean.
		if d.alias == "." && p.extra[d.key] == nil {
			return false
		}
	}
	return true
}

// known reports whether a name may mean something that no cell declares.
func (p *program) known(name string) bool {
	for _, d := range p.extra {
		if d.alias == "." {
			return true
		}
	}
	return gotypes.Universe.Lookup(name) != nil
}

func (p *program) hasType(name string) bool { return p.memory[types][name] != nil }

// receiver is the name of a method's type.
func receiver(f *ast.FuncDecl) string {
	t := f.Recv.List[0].Type
	for {
		switch x := t.(type) {
		case *ast.StarExpr:
			t = x.X
		case *ast.ParenExpr:
			t = x.X
		case *ast.IndexExpr:
			t = x.X
		case *ast.IndexListExpr:
			t = x.X
		case *ast.Ident:
			return x.Name
		default:
			return ""
		}
	}
}

// mark is a letter that names in composed programs begin with; cells that use
// it are refused.
const mark = "ǀ"

func importMark(path string) string {
	return mark + strings.NewReplacer("/", "_", ".", "_", "-", "_").Replace(path)
}

// export is the function that starts a cell.
const export = "gravlab_cell"

// A writer writes the program's source. Every piece of a cell is preceded by its
// place, so that whatever the compiler or a panic says names the cell and the line.
type writer struct {
	strings.Builder
	fset *token.FileSet
}

// at writes the place of what follows.
func (w *writer) at(s *source, pos token.Pos) {
	p := w.fset.PositionFor(pos, false)
	if p.Line == 1 {
		p.Column = max(1, p.Column-len(head))
	}
	fmt.Fprintf(w, "/*line %s:%d:%d*/", p.Filename, s.line(p.Line), p.Column)
}

// glue ends the piece of a cell.
func (w *writer) glue() { w.WriteString("\n//line glue:1\n") }

// source writes the program, with a function for each cell.
func (p *program) source(fset *token.FileSet) string {
	w := &writer{fset: fset}
	w.WriteString("package main\n\n")
	withFlags := false
	for _, u := range p.units {
		for _, path := range u.imports {
			withFlags = withFlags || path == "flag"
		}
	}
	foreign := map[string]string{mark + "os": "os"}
	for _, u := range p.units {
		withFlags = withFlags || len(u.cell.args) > 0
		for _, texts := range u.spelled {
			for _, s := range texts {
				maps.Copy(foreign, s.packages)
			}
		}
	}
	if withFlags {
		foreign[mark+"flag"] = "flag"
	}
	w.imports(p, foreign)
	late := map[*decl][]spelling{}
	for _, u := range p.units {
		maps.Copy(late, u.spelled)
	}
	for _, k := range []kind{types, consts, vars, funcs} {
		for _, d := range p.memory.sorted(k) {
			w.decl(d, late)
		}
	}
	starts := map[string]int{}
	for _, u := range p.units {
		w.cell(u, w.start(u, starts), withFlags)
	}
	fmt.Fprintf(w, "//go:wasmexport %s\nfunc %scell(n uint32) {\n\tswitch n {\n", export, mark)
	for _, u := range p.units {
		fmt.Fprintf(w, "\tcase %d:\n\t\t%scell%d()\n", u.cell.index, mark, u.cell.index)
	}
	w.WriteString("\t}\n}\n\nfunc main() {}\n")
	fmt.Fprintf(w, "\nvar _ = %sos.Args\n", mark)
	return w.String()
}

func (w *writer) imports(p *program, foreign map[string]string) {
	w.WriteString("import (\n")
	for _, name := range slices.Sorted(maps.Keys(p.imports)) {
		fmt.Fprintf(w, "\t%s %q\n", name, p.imports[name])
	}
	for _, key := range slices.Sorted(maps.Keys(p.extra)) {
		fmt.Fprintf(w, "\t%s %q\n", p.extra[key].alias, p.extra[key].path)
	}
	for _, name := range slices.Sorted(maps.Keys(foreign)) {
		fmt.Fprintf(w, "\t%s %q\n", name, foreign[name])
	}
	w.WriteString(")\n\n")
}

// decl writes a declaration. Variables that are initialised when a cell starts are
// declared with their types alone.
func (w *writer) decl(d *decl, late map[*decl][]spelling) {
	switch d.kind {
	case types:
		w.WriteString("type ")
		w.at(d.cell, d.node.Pos())
		w.WriteString(d.text)
	case consts:
		w.at(d.cell, d.node.Pos())
		w.WriteString(d.text)
	case vars:
		texts, isLate := late[d]
		if !isLate {
			w.WriteString("var ")
			w.at(d.cell, d.spec.Pos())
			w.WriteString(d.text)
			break
		}
		for i, name := range d.names {
			if name == "_" {
				continue
			}
			w.WriteString("var ")
			w.at(d.cell, d.spec.Names[i].Pos())
			w.WriteString(name + " ")
			if d.spec.Type != nil {
				w.at(d.cell, d.spec.Type.Pos())
				w.WriteString(d.cell.slice(d.spec.Type.Pos(), d.spec.Type.End()))
			} else {
				w.WriteString(texts[i].text)
			}
			w.glue()
		}
		return
	case funcs:
		w.at(d.cell, d.node.Pos())
		if d.fn.Recv == nil && d.names == nil {
			w.WriteString("func " + w.initName(d) + d.cell.slice(d.fn.Name.End(), d.fn.End()))
		} else {
			w.WriteString(d.text)
		}
	}
	w.glue()
}

func (w *writer) initName(d *decl) string { return mark + d.key }

// start writes the function that initialises the variables of a cell and calls
// its init functions; cells that do the same share it.
func (w *writer) start(u *unit, starts map[string]int) string {
	if !u.loud() {
		return ""
	}
	var key strings.Builder
	for _, d := range append(slices.Clone(u.steps), u.inits...) {
		fmt.Fprintf(&key, "%p ", d)
	}
	n, ok := starts[key.String()]
	name := func() string { return mark + "start" + strconv.Itoa(n) }
	if ok {
		return name()
	}
	n = len(starts)
	starts[key.String()] = n
	fmt.Fprintf(w, "func %s() {\n", name())
	for _, d := range u.steps {
		value := d.spec.Values[0]
		if d.spec.Type != nil && len(d.names) == 1 && d.names[0] == "_" {
			w.WriteString("\t{ var ")
			w.at(d.cell, d.spec.Pos())
			w.WriteString(d.text + " }")
		} else {
			w.WriteString("\t" + strings.Join(d.names, ", ") + " = ")
			w.at(d.cell, value.Pos())
			w.WriteString(d.cell.slice(value.Pos(), value.End()))
		}
		w.glue()
	}
	for _, d := range u.inits {
		fmt.Fprintf(w, "\t%s()\n", w.initName(d))
	}
	w.WriteString("}\n")
	return name()
}

// cell writes the function of one cell.
func (w *writer) cell(u *unit, start string, withFlags bool) {
	fmt.Fprintf(w, "func %scell%d() {\n", mark, u.cell.index)
	for i := 0; i+1 < len(u.env); i += 2 {
		fmt.Fprintf(w, "\t%sos.Setenv(%q, %q)\n", mark, u.env[i], u.env[i+1])
	}
	if len(u.cell.args) > 0 {
		fmt.Fprintf(w, "\t%sos.Args = []string{\"cell\"", mark)
		for _, a := range u.cell.args {
			fmt.Fprintf(w, ", %q", a)
		}
		w.WriteString("}\n")
	}
	if start != "" {
		fmt.Fprintf(w, "\t%s()\n", start)
	}
	if withFlags {
		fmt.Fprintf(w, "\t%sflag.Parse()\n", mark)
	}
	if u.main != nil {
		body := u.main.Body
		w.at(u.cell, body.Pos())
		w.WriteString(u.cell.slice(body.Pos(), body.End()))
		w.glue()
	}
	w.WriteString("}\n\n")
}
