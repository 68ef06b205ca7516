package sandbox

import (
	"go/ast"
	"go/token"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// A decl is one thing that a cell declares. GoNB remembers it under its key.
type decl struct {
	kind  kind
	key   string
	names []string // that it declares at package level; several for a tuple or a block of constants
	cell  *source
	node  ast.Decl // for the type checker: of this thing alone
	text  string   // for comparison, and for the compiler
	refs  []ref    // what it may need imports for

	// Of an import.
	path, alias string
	pos         token.Pos
	// Of a variable.
	spec *ast.ValueSpec
	// Of a function.
	fn *ast.FuncDecl
}

type kind int

const (
	imports kind = iota
	types
	consts
	vars
	funcs
	kinds
)

// ref is a name before a dot, and the name behind it.
type ref struct{ left, right string }

// memory is what GoNB knows after a cell: five separate maps. A declaration of
// several names (a tuple, a block of constants) stands under each.
type memory [kinds]map[string]*decl

func newMemory() *memory {
	var m memory
	for k := range m {
		m[k] = map[string]*decl{}
	}
	return &m
}

func (m *memory) clone() *memory {
	var c memory
	for k := range m {
		c[k] = maps.Clone(m[k])
	}
	return &c
}

// lastPart is what GoNB takes for the name of an import without an alias.
var lastPart = regexp.MustCompile(`(\w+)$`)

// declare adds what the cell declares, and returns the body of its main, or nil.
// Source: GoNB v0.11.4, goexec/parser.go.
func (m *memory) declare(s *source) (main *ast.FuncDecl) {
	for _, spec := range s.file.Imports {
		p, _ := strconv.Unquote(spec.Path.Value)
		d := &decl{kind: imports, key: p, cell: s, path: p, pos: spec.Path.Pos(), text: p}
		if spec.Name != nil {
			d.alias, d.text = spec.Name.Name, spec.Name.Name+" "+p
		}
		switch {
		case d.alias == ".":
			d.key = ".~" + p
		case d.alias != "":
			d.key = d.alias
		default:
			if part := lastPart.FindString(p); part != "" {
				d.key = part
			}
		}
		m[imports][d.key] = d
	}
	blanks := 0
	fresh := memory{vars: map[string]*decl{}}
	for _, node := range s.file.Decls {
		switch node := node.(type) {
		case *ast.FuncDecl:
			if node.Name.Name == "main" && node.Recv == nil {
				main = node
				continue
			}
			d := &decl{kind: funcs, key: node.Name.Name, cell: s, node: node, fn: node, text: s.slice(node.Pos(), node.End()), refs: refsOf(node)}
			if node.Recv != nil && len(node.Recv.List) > 0 {
				t := "unknown"
				switch r := node.Recv.List[0].Type.(type) {
				case *ast.Ident:
					t = r.Name
				case *ast.StarExpr:
					t = s.slice(r.X.Pos(), r.X.End())
				}
				d.key = t + "~" + d.key
			} else {
				d.names = []string{node.Name.Name}
			}
			if node.Recv == nil && strings.HasPrefix(d.key, "init_") || d.key == "init" {
				// Rendered as init, so nobody can call it by its name.
				init := *node
				init.Name = &ast.Ident{NamePos: node.Name.NamePos, Name: "init"}
				d.node, d.names = &init, nil
			}
			m[funcs][d.key] = d
		case *ast.GenDecl:
			switch node.Tok {
			case token.TYPE:
				for _, spec := range node.Specs {
					t := spec.(*ast.TypeSpec)
					one := &ast.GenDecl{TokPos: t.Pos(), Tok: token.TYPE, Specs: []ast.Spec{t}}
					m[types][t.Name.Name] = &decl{kind: types, key: t.Name.Name, names: []string{t.Name.Name}, cell: s, node: one, text: s.slice(t.Pos(), t.End()), refs: refsOf(t)}
				}
			case token.CONST:
				m.constants(s, node)
			case token.VAR:
				for _, spec := range node.Specs {
					fresh.variables(s, spec.(*ast.ValueSpec), &blanks)
				}
			}
		}
	}
	for key, d := range fresh[vars] {
		// Of a tuple one name is declared anew: all of them go.
		if old := m[vars][key]; old != nil && len(old.names) > 1 && old != d {
			for k, o := range m[vars] {
				if o == old {
					delete(m[vars], k)
				}
			}
		}
		m[vars][key] = d
	}
	return main
}

// drop forgets a key, as %rm does: of the first kind that has it.
func (m *memory) drop(key string) {
	for _, k := range []kind{imports, consts, types, vars, funcs} {
		if _, ok := m[k][key]; ok {
			delete(m[k], key)
			return
		}
	}
}

func (m *memory) constants(s *source, node *ast.GenDecl) {
	d := &decl{kind: consts, cell: s, node: node, text: s.slice(node.Pos(), node.End()), refs: refsOf(node)}
	for _, spec := range node.Specs {
		for _, name := range spec.(*ast.ValueSpec).Names {
			d.names = append(d.names, name.Name)
		}
	}
	for _, name := range d.names {
		m[consts][name] = d
	}
	if len(d.names) > 0 {
		d.key = d.names[0]
	}
}

func (m *memory) variables(s *source, v *ast.ValueSpec, blanks *int) {
	add := func(spec *ast.ValueSpec) {
		d := &decl{kind: vars, cell: s, spec: spec, node: &ast.GenDecl{TokPos: spec.Pos(), Tok: token.VAR, Specs: []ast.Spec{spec}}, refs: refsOf(spec)}
		for _, name := range spec.Names {
			d.names = append(d.names, name.Name)
		}
		d.text = strings.Join(d.names, ", ")
		if spec.Type != nil {
			d.text += " " + s.slice(spec.Type.Pos(), spec.Type.End())
		}
		for i, value := range spec.Values {
			sep := ", "
			if i == 0 {
				sep = " = "
			}
			d.text += sep + s.slice(value.Pos(), value.End())
		}
		for i, name := range d.names {
			key := name
			if name == "_" {
				// Each is remembered on its own, and again whenever the cell runs.
				*blanks++
				key = "_~" + strconv.Itoa(s.index) + "~" + strconv.Itoa(*blanks)
			}
			if i == 0 {
				d.key = key
			}
			m[vars][key] = d
		}
	}
	if len(v.Values) == 1 && len(v.Names) > 1 {
		add(v)
		return
	}
	for i, name := range v.Names {
		one := &ast.ValueSpec{Names: []*ast.Ident{name}, Type: v.Type}
		if i < len(v.Values) {
			one.Values = []ast.Expr{v.Values[i]}
		}
		if len(v.Names) == 1 {
			one = v
		}
		add(one)
	}
}

// sorted returns the declarations of a kind in the order in which GoNB writes
// them, each once. A tuple is written where its first name is remembered, and
// whole, even if its other names are declared anew elsewhere; a block of constants
// likewise.
func (m *memory) sorted(k kind) []*decl {
	var out []*decl
	for _, key := range slices.Sorted(maps.Keys(m[k])) {
		if d := m[k][key]; d.key == key {
			out = append(out, d)
		}
	}
	return out
}

// slice is the cell's text between two positions.
func (s *source) slice(from, to token.Pos) string {
	base := int(s.file.FileStart)
	return string(s.text[int(from)-base : int(to)-base])
}

// refsOf lists what stands before dots.
func refsOf(node ast.Node) []ref {
	var out []ref
	seen := map[ref]bool{}
	ast.Inspect(node, func(n ast.Node) bool {
		if sel, ok := n.(*ast.SelectorExpr); ok {
			if x, ok := sel.X.(*ast.Ident); ok && x.Obj == nil { // not a variable of the function
				if r := (ref{x.Name, sel.Sel.Name}); !seen[r] {
					seen[r] = true
					out = append(out, r)
				}
			}
		}
		return true
	})
	return out
}
