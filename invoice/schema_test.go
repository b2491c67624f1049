package invoice

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// shape is one element or attribute as the schema of the npm package @e-invoice-eu/core 2.3.4 has it: the syntax of EN 16931 in UBL 2.1 with the
// order of its elements, how often each may be there, and the published code lists.
type shape struct {
	Name     string
	Many     bool
	Required []string
	Codes    []string
	Pattern  string
	Parts    []shape // in their order; attributes as element@attribute
}

// schemaScript tells the schema in the form above. The package expects a browser.
const schemaScript = `globalThis.window={navigator:{languages:[]}};
const root=require(process.argv[1]).invoiceSchema;
const at=(ref)=>ref.slice(2).split("/").reduce((o,k)=>o[k],root);
const shape=(name,s)=>{let many=false;
if(s.type==="array"){many=true;s=s.items}
const all=[s,...(s.$ref?[at(s.$ref)]:[]),...(s.oneOf||[]).map(o=>o.$ref?at(o.$ref):o)];
return {Name:name,Many:many,Required:s.required||[],Codes:all.flatMap(o=>o.enum||[]),Pattern:all.map(o=>o.pattern).find(Boolean)||"",Parts:Object.entries(s.properties||{}).map(([k,v])=>shape(k,v))}};
console.log(JSON.stringify(shape("Invoice",root.properties["ubl:Invoice"])));`

// piece is a document as a tree.
type piece struct {
	Name  string
	Text  string
	Attrs map[string]string
	Parts []piece
}

func pieces(data []byte) (piece, error) {
	prefix := map[string]string{nsCBC: "cbc:", nsCAC: "cac:"}
	d := xml.NewDecoder(bytes.NewReader(data))
	open := []piece{{}}
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			return open[0].Parts[0], nil
		}
		if err != nil {
			return piece{}, err
		}
		last := len(open) - 1
		switch k := tok.(type) {
		case xml.StartElement:
			e := piece{Name: prefix[k.Name.Space] + k.Name.Local, Attrs: map[string]string{}}
			for _, a := range k.Attr {
				if a.Name.Space == "" && a.Name.Local != "xmlns" {
					e.Attrs[a.Name.Local] = a.Value
				}
			}
			open = append(open, e)
		case xml.CharData:
			open[last].Text += strings.TrimSpace(string(k))
		case xml.EndElement:
			open[last-1].Parts = append(open[last-1].Parts, open[last])
			open = open[:last]
		}
	}
}

// holds checks a piece against its shape and tells what is wrong.
func (s shape) holds(e piece, where string) (wrong []string) {
	say := func(format string, args ...any) { wrong = append(wrong, where+": "+fmt.Sprintf(format, args...)) }
	value := func(s shape, v, name string) {
		if len(s.Codes) > 0 && !slices.Contains(s.Codes, v) {
			say("%s is %q, which its code list does not have", name, v)
		}
		if s.Pattern != "" && !regexp.MustCompile(s.Pattern).MatchString(v) {
			say("%s is %q, which is not of the form %s", name, v, s.Pattern)
		}
	}
	seen, at := map[string]int{}, 0
	for _, p := range e.Parts {
		i := slices.IndexFunc(s.Parts, func(k shape) bool { return k.Name == p.Name })
		if i < 0 {
			say("%s is not known here", p.Name)
			continue
		}
		if i < at {
			say("%s comes too late", p.Name)
		}
		at = i
		if seen[p.Name]++; seen[p.Name] > 1 && !s.Parts[i].Many {
			say("%s is there %d times", p.Name, seen[p.Name])
		}
		value(s.Parts[i], p.Text, p.Name)
		for a, v := range p.Attrs {
			name := p.Name + "@" + a
			k := slices.IndexFunc(s.Parts, func(k shape) bool { return k.Name == name })
			if k < 0 {
				say("%s is not known here", name)
				continue
			}
			seen[name]++
			value(s.Parts[k], v, name)
		}
		if len(s.Parts[i].Parts) > 0 {
			wrong = append(wrong, s.Parts[i].holds(p, where+"/"+p.Name)...)
		}
	}
	for _, r := range s.Required {
		if seen[r] == 0 {
			say("%s is missing", r)
		}
	}
	return wrong
}

// TestSchema holds invoices against the schema of a package that shares nothing with us, which knows no credit notes. ./test fetches it and
// names its folder in FAIRMETAL_EN16931.
func TestSchema(t *testing.T) {
	dir := os.Getenv("FAIRMETAL_EN16931")
	if dir == "" {
		t.Skip("FAIRMETAL_EN16931 names no folder with the npm package @e-invoice-eu/core: the order of elements and the code lists were not held against it")
	}
	out, err := exec.Command("node", "-e", schemaScript, dir+"/dist/e-invoice-eu.js").Output()
	if err != nil {
		t.Fatalf("the schema cannot be read: %v", err)
	}
	var schema shape
	if err := json.Unmarshal(out, &schema); err != nil {
		t.Fatal(err)
	}
	looked := 0
	for name, data := range documents(t) {
		doc, err := pieces(data)
		if err != nil {
			t.Fatal(err)
		}
		if doc.Name != "Invoice" {
			continue
		}
		looked++
		for _, w := range schema.holds(doc, "Invoice") {
			t.Errorf("%s: %s", name, w)
		}
		// A document that is wrong is not let through.
		doc.Parts[0], doc.Parts[len(doc.Parts)-1] = doc.Parts[len(doc.Parts)-1], doc.Parts[0]
		if len(schema.holds(doc, "Invoice")) == 0 {
			t.Errorf("%s: the lines first and the identifier last is taken for right", name)
		}
	}
	if looked < 4 {
		t.Errorf("only %d invoices were looked at", looked)
	}
}
