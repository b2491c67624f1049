// Package internal_test holds the rules of the architecture.
package internal_test

import (
	"os/exec"
	"strings"
	"testing"
)

// imports lists the fairmetal packages and the standard packages that a package imports itself.
func imports(t *testing.T, pkg string) []string {
	t.Helper()
	out, err := exec.Command("go", "list", "-f", `{{join .Imports "\n"}}`, "fairmetal/"+pkg).Output()
	if err != nil {
		t.Fatalf("%s: %v", pkg, err)
	}
	return strings.Fields(string(out))
}

// TestNumericsArePure: no files, clock, network, database, log or process in the numerics, so that the same input always gives the
// same output.
func TestNumericsArePure(t *testing.T) {
	for _, pkg := range []string{"card", "pose", "steady", "phase", "surface", "mirror", "shot", "texture", "mark", "fair", "sheet", "verdict", "plan", "rehearse", "rates", "register", "compare", "money", "metal"} {
		for _, i := range imports(t, pkg) {
			for _, banned := range []string{"os", "io/fs", "net", "net/http", "time", "log", "log/slog", "database/sql", "os/exec"} {
				if i == banned {
					t.Errorf("%s imports %s", pkg, i)
				}
			}
		}
	}
}

// TestOneWay: data flows down the list of docs/architecture.md; a package imports only what stands above it.
func TestOneWay(t *testing.T) {
	order := []string{"money", "words", "vin", "payqr", "invoice", "agenda", "tables", "photo", "capture", "card", "pose", "steady", "phase", "surface", "mirror", "shot", "texture", "export", "mark", "fair", "sheet", "metal", "rack", "verdict", "plan", "rehearse", "rates", "route", "quote", "register", "compare", "inspection", "typeface", "report", "prints", "tracing", "trim", "offer", "scene", "score", "house", "job", "bill", "books", "blob", "store", "backup", "meter", "door", "queue", "workshop", "demo", "web"}
	rank := map[string]int{}
	for i, p := range order {
		rank[p] = i + 1
	}
	for _, pkg := range order {
		for _, i := range imports(t, pkg) {
			name := strings.TrimPrefix(i, "fairmetal/")
			if name != i && rank[name] > rank[pkg] {
				t.Errorf("%s imports %s, which stands below it", pkg, name)
			}
		}
	}
}

// TestSceneIsIndependent: our camera shares nothing with the measuring code, so that neither can hide the other's mistakes.
func TestSceneIsIndependent(t *testing.T) {
	for _, i := range imports(t, "scene") {
		if strings.HasPrefix(i, "fairmetal/") {
			t.Errorf("scene imports %s", i)
		}
	}
}
