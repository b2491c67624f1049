package web

import (
	"cmp"
	"io/fs"
	"os"
	"regexp"
	"testing"

	"fairmetal/rack"
	"fairmetal/trim"
	"fairmetal/words"
)

// sources are the files of this package.
var sources = os.DirFS(".")

// TestEveryTextHasItsTranslation: what pages and scripts say is there in every language.
func TestEveryTextHasItsTranslation(t *testing.T) {
	one := regexp.MustCompile(`\bt "((?:[^"\\]|\\.)*)"`)
	many := regexp.MustCompile(`\bn (?:\S+|\([^)]*\)) "([^"]*)" "([^"]*)"`)
	title := regexp.MustCompile(`Title: "([A-Za-z][^"]*)"`)
	texts := map[string]bool{}
	counted := map[string]bool{}
	read := func(fsys fs.FS, glob string, each func(src []byte)) {
		names, err := fs.Glob(fsys, glob)
		if err != nil || len(names) == 0 {
			t.Fatalf("%s: %v, %v", glob, names, err)
		}
		for _, n := range names {
			src, err := fs.ReadFile(fsys, n)
			if err != nil {
				t.Fatal(err)
			}
			each(src)
		}
	}
	add := func(re *regexp.Regexp) func(src []byte) {
		return func(src []byte) {
			for _, m := range re.FindAllSubmatch(src, -1) {
				texts[string(m[1])] = true
			}
		}
	}
	read(files, "templates/*.html", add(one))
	read(files, "assets/*.js", add(said))
	read(sources, "*.go", add(title))
	read(files, "templates/*.html", func(src []byte) {
		for _, m := range many.FindAllSubmatch(src, -1) {
			counted[string(m[2])] = true
		}
	})
	// What a house starts with, until it writes its own.
	own := rack.Default()
	for _, l := range lists(&own, words.English) {
		for i := range l.count() {
			texts[l.name(i)] = true
		}
	}
	for _, p := range trim.Default().Parts {
		texts[p.Text], texts[cmp.Or(p.When, p.Text)], texts[cmp.Or(p.Caution, p.Text)] = true, true, true
	}
	if len(texts) < 100 || len(counted) < 2 {
		t.Fatalf("only %d texts and %d countables found: the patterns above are out of date", len(texts), len(counted))
	}
	for _, l := range words.Langs {
		for k := range texts {
			if !l.Has(k) {
				t.Errorf("%s lacks %q", l, k)
			}
		}
		for k := range counted {
			if !l.HasN(k) {
				t.Errorf("%s lacks the countable %q", l, k)
			}
		}
	}
}
