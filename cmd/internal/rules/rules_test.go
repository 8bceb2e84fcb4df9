package rules

import (
	"encoding/json"
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

const module = "hopperbook/"

type goPackage struct {
	ImportPath   string
	Dir          string
	Imports      []string
	TestImports  []string
	XTestImports []string
	GoFiles      []string
	CgoFiles     []string
	TestGoFiles  []string
	XTestGoFiles []string
}

func packages(t *testing.T) []goPackage {
	t.Helper()
	out, err := exec.Command("go", "list", "-json", module+"...").Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	var all []goPackage
	for dec := json.NewDecoder(strings.NewReader(string(out))); ; {
		var p goPackage
		if err := dec.Decode(&p); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		all = append(all, p)
	}
	if len(all) < 10 {
		t.Fatalf("only %d packages found", len(all))
	}
	return all
}

// allowed says which of our top-level folders a folder may import.
var allowed = map[string][]string{
	"schemas":   {"schemas"},
	"ingest":    {"schemas", "ingest"},
	"reconcile": {"schemas", "reconcile"},
	"reports":   {"schemas", "reconcile", "reports"},
	"cmd":       {"schemas", "ingest", "reconcile", "reports", "cmd"},
}

func top(importPath string) string {
	first, _, _ := strings.Cut(strings.TrimPrefix(importPath, module), "/")
	return first
}

// breach is the rule an import breaks, or "".
func breach(from, imported string) string {
	ours := strings.HasPrefix(imported, module)
	if ours && !slices.Contains(allowed[top(from)], top(imported)) {
		return "imports point left"
	}
	duckdb := strings.HasPrefix(imported, "github.com/duckdb/") || imported == module+"ingest/book"
	if duckdb && from != module+"ingest/book" && top(from) != "cmd" {
		return "only cmd and ingest/book may reach DuckDB"
	}
	if strings.HasPrefix(from, module+"cmd/hopperbook-tablet") && duckdb {
		return "the tablet is pure Go"
	}
	if top(from) == "reconcile" || top(from) == "reports" {
		if slices.Contains([]string{"os", "net", "net/http", "math/rand", "math/rand/v2", "database/sql", "io/fs"}, imported) || strings.HasPrefix(imported, "github.com/nats-io/") {
			return "reconcile and reports are pure"
		}
	}
	return ""
}

func TestImportsPointLeft(t *testing.T) {
	for _, p := range packages(t) {
		if allowed[top(p.ImportPath)] == nil {
			t.Errorf("%s stands in a top-level folder that the layout does not know", p.ImportPath)
		}
		for _, imported := range p.Imports {
			if rule := breach(p.ImportPath, imported); rule != "" {
				t.Errorf("%s imports %s: %s", p.ImportPath, imported, rule)
			}
		}
		for _, imported := range slices.Concat(p.TestImports, p.XTestImports) {
			if strings.HasPrefix(imported, module) && !slices.Contains(allowed[top(p.ImportPath)], top(imported)) {
				t.Errorf("the tests of %s import %s: imports point left", p.ImportPath, imported)
			}
		}
	}
}

// The check itself must be able to fail.
func TestBreachSeesBreaches(t *testing.T) {
	for _, r := range [][2]string{
		{"hopperbook/schemas", "hopperbook/ingest"}, {"hopperbook/ingest/hub", "hopperbook/reconcile"},
		{"hopperbook/reconcile/drift", "hopperbook/ingest/book"}, {"hopperbook/reconcile", "os"},
		{"hopperbook/ingest/hub", "github.com/duckdb/duckdb-go/v2"}, {"hopperbook/reports", "hopperbook/cmd/internal/desk"},
	} {
		if breach(r[0], r[1]) == "" {
			t.Errorf("%s may not import %s, but the check lets it", r[0], r[1])
		}
	}
}

func TestEveryPackageSaysWhatItOwns(t *testing.T) {
	for _, p := range packages(t) {
		raw, err := os.ReadFile(filepath.Join(p.Dir, "doc.go"))
		if err != nil {
			t.Errorf("%s has no doc.go", p.ImportPath)
			continue
		}
		for _, want := range []string{"Owns:", "Does not own:", "Invariants", "Units"} {
			if !strings.Contains(string(raw), want) {
				t.Errorf("%s/doc.go does not say %q", p.ImportPath, want)
			}
		}
	}
}

const (
	maxFileLines     = 400
	maxFunctionLines = 70
)

func TestTripwires(t *testing.T) {
	for _, p := range packages(t) {
		for _, name := range slices.Concat(p.GoFiles, p.CgoFiles, p.TestGoFiles, p.XTestGoFiles) {
			path := filepath.Join(p.Dir, name)
			fset := token.NewFileSet()
			file, err := parser.ParseFile(fset, path, nil, parser.ParseComments)
			if err != nil {
				t.Fatal(err)
			}
			for _, complaint := range complaints(fset, file, strings.HasSuffix(name, "_test.go")) {
				t.Errorf("%s/%s: %s", p.ImportPath, name, complaint)
			}
		}
	}
}

func complaints(fset *token.FileSet, file *ast.File, isTest bool) (all []string) {
	reasoned := func(groups ...*ast.CommentGroup) bool {
		return slices.ContainsFunc(groups, func(g *ast.CommentGroup) bool {
			return g != nil && strings.Contains(g.Text(), "tripwire:")
		})
	}
	if fset.Position(file.End()).Line > maxFileLines && !reasoned(file.Comments...) {
		all = append(all, "file over 400 lines without a written reason")
	}
	if !isTest {
		all = append(all, exponents(file)...)
	}
	for _, decl := range file.Decls {
		f, ok := decl.(*ast.FuncDecl)
		if !ok {
			continue
		}
		if f.Name.Name == "init" && f.Recv == nil {
			all = append(all, "func init: no init() registration")
		}
		lines := fset.Position(f.End()).Line - fset.Position(f.Pos()).Line + 1
		if lines > maxFunctionLines && !reasoned(f.Doc) {
			all = append(all, "func "+f.Name.Name+" over 70 lines without a written reason")
		}
		if !isTest && f.Name.IsExported() && f.Recv == nil && f.Doc == nil && file.Name.Name != "main" {
			all = append(all, "func "+f.Name.Name+" is exported and not documented")
		}
	}
	return all
}

// rounding is a verb that rounds to digits and then writes large figures with an exponent.
var rounding = regexp.MustCompile(`%[-+ #0]*[0-9]*\.[0-9]*[gG]`)

// exponents are formats that write 12 345 as 1.234e+04.
func exponents(file *ast.File) (all []string) {
	ast.Inspect(file, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.BasicLit:
			if n.Kind == token.STRING && rounding.MatchString(n.Value) {
				all = append(all, n.Value+" writes exponents: unit.Plain does not")
			}
		case *ast.CallExpr:
			if f, ok := n.Fun.(*ast.SelectorExpr); ok && f.Sel.Name == "FormatFloat" && len(n.Args) == 4 {
				verb, _ := n.Args[1].(*ast.BasicLit)
				digits, counted := n.Args[2].(*ast.BasicLit)
				if verb != nil && verb.Value == "'g'" && counted && digits.Kind == token.INT {
					all = append(all, "FormatFloat with 'g' writes exponents: unit.Plain does not")
				}
			}
		}
		return true
	})
	return all
}

func TestTripwiresCanTrip(t *testing.T) {
	long := "package x\nfunc init() {\n" + strings.Repeat("_ = 1\n", 80) + "}\n" + strings.Repeat("// x\n", 400) + "func Y() {}\n"
	fset := token.NewFileSet()
	file, err := parser.ParseFile(fset, "x.go", long, parser.ParseComments)
	if err != nil {
		t.Fatal(err)
	}
	if got := complaints(fset, file, false); len(got) != 3 {
		t.Errorf("got %v, want the file, init and its length", got)
	}
	file, err = parser.ParseFile(fset, "y.go", "package x\nfunc f() { fmt.Sprintf(\"a %.4g b %5.1f %g\", 1); strconv.FormatFloat(1, 'g', 6, 64); strconv.FormatFloat(1, 'g', -1, 64) }\n", 0)
	if err != nil {
		t.Fatal(err)
	}
	if got := complaints(fset, file, false); len(got) != 2 {
		t.Errorf("got %v, want both formats with exponents", got)
	}
}
