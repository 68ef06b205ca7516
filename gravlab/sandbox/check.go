package sandbox

import (
	"fmt"
	"go/ast"
	"go/importer"
	"go/token"
	gotypes "go/types"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// A library knows the packages that cells may import.
type library struct {
	packages map[string]pkg      // by path
	named    map[string][]string // paths by the package's name, in the order in which they are tried
	load     gotypes.Importer
	// fault is set when a package that is there could not be loaded.
	fault *Fault
}

func newLibrary(packages []pkg) *library {
	l := &library{packages: map[string]pkg{}, named: map[string][]string{}}
	for _, p := range packages {
		l.packages[p.Path] = p
		l.named[p.Name] = append(l.named[p.Name], p.Path)
	}
	for name, paths := range l.named {
		// The standard library first, as goimports does. Of several there it
		// tries crypto/rand before math/rand/v2 and that before math/rand.
		slices.SortFunc(paths, func(a, b string) int {
			if x, y := isStandard(a), isStandard(b); x != y {
				if x {
					return -1
				}
				return 1
			}
			if name == "rand" {
				order := []string{"crypto/rand", "math/rand/v2", "math/rand"}
				return slices.Index(order, a) - slices.Index(order, b)
			}
			return strings.Compare(a, b)
		})
	}
	l.load = loader{l, importer.ForCompiler(token.NewFileSet(), "gc", func(path string) (io.ReadCloser, error) {
		p, ok := l.packages[path]
		if !ok {
			return nil, fmt.Errorf("package %s cannot be imported here", path)
		}
		return os.Open(p.Export)
	})}
	return l
}

// A loader notes when a package that cells may import cannot be loaded.
type loader struct {
	library *library
	gotypes.Importer
}

func (l loader) Import(path string) (*gotypes.Package, error) {
	p, err := l.Importer.Import(path)
	if known, ok := l.library.packages[path]; ok && err != nil && l.library.fault == nil {
		l.library.fault = fileFault(filepath.Dir(known.Export), fmt.Errorf("package %s: %w", path, err))
	}
	return p, err
}

func isStandard(path string) bool {
	first, _, _ := strings.Cut(path, "/")
	return !strings.Contains(first, ".")
}

// find looks for a package of that name that exports all of the names.
func (l *library) find(name string, exports []string) string {
	for _, path := range l.named[name] {
		p, err := l.load.Import(path)
		if err != nil {
			continue
		}
		if !slices.ContainsFunc(exports, func(e string) bool { o := p.Scope().Lookup(e); return o == nil || !o.Exported() }) {
			return path
		}
	}
	return ""
}

// nameOf is the name that an import gives its package.
func (l *library) nameOf(d *decl) string {
	if d.alias != "" {
		return d.alias
	}
	if p, ok := l.packages[d.path]; ok {
		return p.Name
	}
	parts := strings.Split(d.path, "/")
	if n := len(parts); n > 1 && len(parts[n-1]) > 1 && parts[n-1][0] == 'v' && strings.Trim(parts[n-1][1:], "0123456789") == "" {
		return parts[n-2]
	}
	return parts[len(parts)-1]
}

// notYet is said of a name that is set before it exists.
const notYet = " does not exist yet: the first time, write := instead of ="

// assigned are the places of names that are set with =.
func assigned(file *ast.File) map[token.Pos]bool {
	places := map[token.Pos]bool{}
	ast.Inspect(file, func(n ast.Node) bool {
		if a, ok := n.(*ast.AssignStmt); ok && a.Tok == token.ASSIGN {
			for _, x := range a.Lhs {
				places[x.Pos()] = true
			}
		}
		return true
	})
	return places
}

// A unit is the program of one cell: what GoNB would build and run.
type unit struct {
	cell    *source
	memory  *memory
	main    *ast.FuncDecl     // nil: there is none
	imports map[string]string // path by name; those in use
	extra   []*decl           // dot and blank imports
	steps   []*decl           // variables to initialise when the cell starts, in order
	inits   []*decl           // init functions to call then, in order
	spelled map[*decl][]spelling
	env     []string
}

// spelling is the type of a variable as text; packages in it are marked by name.
type spelling struct {
	text     string
	packages map[string]string // path by the name used in the text
}

// loud says that running the unit does something, apart from its main.
func (u *unit) loud() bool { return len(u.steps) > 0 || len(u.inits) > 0 }

// problem is why a cell cannot be built.
type problem struct {
	pos  token.Pos
	text string
}

// unit checks what GoNB would build for the cell, and works out how to
// initialise its variables.
func (l *library) unit(fset *token.FileSet, s *source, m *memory, main *ast.FuncDecl) (*unit, []problem) {
	u := &unit{cell: s, memory: m, main: main, imports: map[string]string{}, spelled: map[*decl][]spelling{}}
	decls, specs, problems := l.resolve(s, m, main, u)
	if problems != nil {
		return nil, problems
	}
	file := &ast.File{Name: ast.NewIdent("main"), Package: s.file.Package, FileStart: s.file.FileStart, FileEnd: s.file.FileEnd}
	for _, spec := range specs {
		file.Decls = append(file.Decls, &ast.GenDecl{TokPos: spec.Path.ValuePos, Tok: token.IMPORT, Specs: []ast.Spec{spec}})
		file.Imports = append(file.Imports, spec)
	}
	for _, d := range decls {
		file.Decls = append(file.Decls, d.node)
	}
	if main != nil {
		file.Decls = append(file.Decls, main)
	}
	info := &gotypes.Info{Types: map[ast.Expr]gotypes.TypeAndValue{}, Defs: map[*ast.Ident]gotypes.Object{}, Uses: map[*ast.Ident]gotypes.Object{}}
	set := assigned(file)
	conf := gotypes.Config{
		Importer: l.load, GoVersion: "go1.26", Sizes: gotypes.SizesFor("gc", "wasm"), DisableUnusedImportCheck: true,
		Error: func(err error) {
			e, ok := err.(gotypes.Error)
			if !ok || len(problems) >= 5 {
				return
			}
			text := Plain(e.Msg)
			if name, undefined := strings.CutPrefix(e.Msg, "undefined: "); undefined && set[e.Pos] {
				text = name + notYet
			}
			// A name that is not known is told once, where it is used first.
			if !slices.ContainsFunc(problems, func(p problem) bool {
				return p.text == text || strings.HasPrefix(text, strings.TrimSuffix(p.text, notYet)+" is not known here")
			}) {
				problems = append(problems, problem{e.Pos, text})
			}
		},
	}
	p, err := conf.Check("main", fset, []*ast.File{file}, info)
	if err != nil || len(problems) > 0 {
		if len(problems) == 0 {
			problems = []problem{{token.NoPos, Plain(err.Error())}}
		}
		return nil, problems
	}
	used := map[string]bool{}
	for _, o := range info.Uses {
		if name, ok := o.(*gotypes.PkgName); ok {
			used[name.Name()] = true
		}
	}
	for name := range u.imports {
		if !used[name] {
			delete(u.imports, name)
		}
	}
	if bad, found := l.starts(u, decls, info, p); found {
		return nil, []problem{bad}
	}
	return u, nil
}

// resolve lists the declarations of a unit in GoNB's order, and its imports: those remembered that
// are used, and those that goimports would find.
func (l *library) resolve(s *source, m *memory, main *ast.FuncDecl, u *unit) (decls []*decl, specs []*ast.ImportSpec, problems []problem) {
	declared := map[string]bool{"main": true}
	wanted := map[string][]string{} // names behind the dot, by the name before it
	want := func(refs []ref) {
		for _, r := range refs {
			if !slices.Contains(wanted[r.left], r.right) {
				wanted[r.left] = append(wanted[r.left], r.right)
			}
		}
	}
	for _, k := range []kind{types, consts, vars, funcs} {
		for _, d := range m.sorted(k) {
			decls = append(decls, d)
			for _, name := range d.names {
				declared[name] = true
			}
			want(d.refs)
		}
	}
	if main != nil {
		want(refsOf(main))
	}
	for name := range declared {
		delete(wanted, name)
	}
	have := map[string]bool{}
	add := func(pos token.Pos, name, path string) {
		spec := &ast.ImportSpec{Path: &ast.BasicLit{ValuePos: pos, Kind: token.STRING, Value: strconv.Quote(path)}}
		if name != "" {
			spec.Name = &ast.Ident{NamePos: pos, Name: name}
		}
		specs = append(specs, spec)
	}
	for _, d := range m.sorted(imports) {
		name := l.nameOf(d)
		free := name == "_" || name == "." || d.path == "C"
		if !free && wanted[name] == nil {
			continue // goimports takes it out
		}
		if _, ok := l.packages[d.path]; !ok {
			problems = append(problems, problem{d.pos, fmt.Sprintf("package %s cannot be imported here; see the list of packages in the guide", clip(d.path, 80))})
			continue
		}
		if free {
			u.extra = append(u.extra, d)
		} else {
			u.imports[name] = d.path
		}
		have[name] = true
		add(d.pos, d.alias, d.path)
	}
	for _, name := range slices.Sorted(maps.Keys(wanted)) {
		if have[name] {
			continue
		}
		if path := l.find(name, wanted[name]); path != "" {
			u.imports[name] = path
			add(s.file.Package, "", path)
		}
	}
	return decls, specs, problems
}

// maxVariable is the size of a variable that is not made when the program runs: it would
// stand in the program's file.
const maxVariable = 64 << 20

// starts decides which variables have to be initialised when the cell starts,
// and how their types are written. The others are the same in every run, and are
// part of the program as it stands before any cell starts.
func (l *library) starts(u *unit, decls []*decl, info *gotypes.Info, p *gotypes.Package) (problem, bool) {
	owner := map[gotypes.Object]*decl{}
	sizes := gotypes.SizesFor("gc", "wasm")
	for _, d := range decls {
		if d.kind != vars {
			continue
		}
		for _, name := range d.spec.Names {
			o := info.Defs[name]
			owner[o] = d
			if o != nil && sizes.Sizeof(o.Type()) > maxVariable {
				return problem{name.Pos(), "this variable is larger than the memory that there is; make it with make when it is needed"}, true
			}
		}
	}
	q := &quiet{info: info, pkg: p, loud: map[gotypes.Object]bool{}}
	// A variable that is initialised from one that is not quiet is not quiet either; the order
	// of initialisation has them in the right sequence.
	for _, init := range info.InitOrder {
		d := owner[init.Lhs[0]]
		if d == nil || q.expr(init.Rhs) {
			continue
		}
		var texts []spelling
		ok := true
		for _, o := range init.Lhs {
			text, fine := spell(o.Type(), p)
			texts, ok = append(texts, text), ok && fine
		}
		if !ok && d.spec.Type == nil {
			continue // nobody can write its type down: it is initialised once
		}
		for _, o := range init.Lhs {
			q.loud[o] = true
		}
		u.steps = append(u.steps, d)
		u.spelled[d] = texts
	}
	for _, d := range u.memory.sorted(funcs) {
		if d.fn.Recv == nil && d.names == nil {
			u.inits = append(u.inits, d)
		}
	}
	return problem{}, false
}

// quiet tells initialisers that do nothing but make a value, always the same,
// without a chance to fail.
type quiet struct {
	info *gotypes.Info
	pkg  *gotypes.Package
	loud map[gotypes.Object]bool
}

func (q *quiet) exprs(list []ast.Expr) bool {
	return !slices.ContainsFunc(list, func(e ast.Expr) bool { return !q.expr(e) })
}

func (q *quiet) expr(e ast.Expr) bool {
	if tv := q.info.Types[e]; tv.Value != nil || tv.IsType() || tv.IsNil() {
		return true
	}
	switch e := e.(type) {
	case *ast.BasicLit, *ast.FuncLit:
		return true
	case *ast.ParenExpr:
		return q.expr(e.X)
	case *ast.Ident:
		return q.object(q.info.Uses[e])
	case *ast.SelectorExpr:
		// A package's variable, function or constant.
		x, ok := e.X.(*ast.Ident)
		if !ok {
			return false
		}
		_, ok = q.info.Uses[x].(*gotypes.PkgName)
		return ok
	case *ast.CompositeLit:
		for _, el := range e.Elts {
			if kv, ok := el.(*ast.KeyValueExpr); ok {
				if _, field := kv.Key.(*ast.Ident); !field && !q.expr(kv.Key) {
					return false
				}
				el = kv.Value
			}
			if !q.expr(el) {
				return false
			}
		}
		return true
	case *ast.UnaryExpr:
		return e.Op != token.ARROW && q.expr(e.X)
	case *ast.BinaryExpr:
		return q.float(e.X) && q.float(e.Y) && q.expr(e.X) && q.expr(e.Y)
	case *ast.CallExpr:
		return q.call(e)
	}
	return false
}

// object reports whether using a name is quiet.
func (q *quiet) object(o gotypes.Object) bool {
	switch o := o.(type) {
	case *gotypes.Var:
		return !q.loud[o]
	case *gotypes.Func, *gotypes.Const, *gotypes.Nil, *gotypes.TypeName:
		return true
	}
	return false
}

// float says that arithmetic on the value cannot fail.
func (q *quiet) float(e ast.Expr) bool {
	t := q.info.TypeOf(e)
	if t == nil {
		return false
	}
	b, ok := t.Underlying().(*gotypes.Basic)
	return ok && b.Info()&(gotypes.IsFloat|gotypes.IsUntyped|gotypes.IsString) != 0
}

// calls that only make a value.
var quietCalls = map[string]bool{
	module + "/gravlab/ask.Sheet": true, module + "/gravlab/ask.Assessed": true, "errors.New": true,
	"math.Sqrt": true, "math.Pow": true, "math.Exp": true, "math.Log": true, "math.Sin": true, "math.Cos": true, "math.Inf": true, "math.NaN": true,
}

func (q *quiet) call(e *ast.CallExpr) bool {
	tv := q.info.Types[e.Fun]
	if tv.IsType() { // a conversion; only numbers cannot fail
		b, ok := tv.Type.Underlying().(*gotypes.Basic)
		return ok && b.Info()&gotypes.IsNumeric != 0 && q.exprs(e.Args)
	}
	var id *ast.Ident
	switch f := e.Fun.(type) {
	case *ast.Ident:
		id = f
	case *ast.SelectorExpr:
		if !q.expr(f) {
			return false
		}
		id = f.Sel
	default:
		return false
	}
	switch o := q.info.Uses[id].(type) {
	case *gotypes.Builtin:
		switch o.Name() {
		case "new":
			return q.exprs(e.Args)
		case "make": // without a size, or with none that counts
			return len(e.Args) == 1
		}
	case *gotypes.Func:
		return quietCalls[o.FullName()] && q.exprs(e.Args)
	}
	return false
}

// spell writes a type down. Packages in it are named by marks that are replaced
// by the names of imports later.
func spell(t gotypes.Type, p *gotypes.Package) (spelling, bool) {
	if !spellable(t, p, map[gotypes.Type]bool{}) {
		return spelling{}, false
	}
	s := spelling{packages: map[string]string{}}
	s.text = gotypes.TypeString(t, func(o *gotypes.Package) string {
		if o == p {
			return ""
		}
		mark := importMark(o.Path())
		s.packages[mark] = o.Path()
		return mark
	})
	return s, true
}

func spellable(t gotypes.Type, p *gotypes.Package, seen map[gotypes.Type]bool) bool {
	if seen[t] {
		return true
	}
	seen[t] = true
	all := func(list *gotypes.TypeList) bool {
		for i := range list.Len() {
			if !spellable(list.At(i), p, seen) {
				return false
			}
		}
		return true
	}
	named := func(o *gotypes.TypeName, args *gotypes.TypeList) bool {
		if o.Pkg() == nil {
			return p.Scope().Lookup(o.Name()) == nil && all(args) // error, comparable
		}
		return o.Parent() == o.Pkg().Scope() && (o.Pkg() == p || o.Exported()) && all(args)
	}
	switch t := t.(type) {
	case *gotypes.Basic:
		return p.Scope().Lookup(t.Name()) == nil && t.Kind() != gotypes.UnsafePointer
	case *gotypes.Named:
		return named(t.Obj(), t.TypeArgs())
	case *gotypes.Alias:
		return named(t.Obj(), t.TypeArgs())
	case *gotypes.Pointer:
		return spellable(t.Elem(), p, seen)
	case *gotypes.Slice:
		return spellable(t.Elem(), p, seen)
	case *gotypes.Array:
		return spellable(t.Elem(), p, seen)
	case *gotypes.Chan:
		return spellable(t.Elem(), p, seen)
	case *gotypes.Map:
		return spellable(t.Key(), p, seen) && spellable(t.Elem(), p, seen)
	case *gotypes.Signature:
		return spellable(t.Params(), p, seen) && spellable(t.Results(), p, seen)
	case *gotypes.Tuple:
		for i := range t.Len() {
			if !spellable(t.At(i).Type(), p, seen) {
				return false
			}
		}
		return true
	case *gotypes.Struct:
		for i := range t.NumFields() {
			f := t.Field(i)
			if !f.Exported() && f.Pkg() != p || !spellable(f.Type(), p, seen) {
				return false
			}
		}
		return true
	case *gotypes.Interface:
		if t.Empty() {
			return p.Scope().Lookup("any") == nil
		}
	}
	return false
}
