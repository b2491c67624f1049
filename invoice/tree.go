package invoice

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strings"
)

// Namespaces of UBL 2.1.
const (
	nsCAC     = "urn:oasis:names:specification:ubl:schema:xsd:CommonAggregateComponents-2"
	nsCBC     = "urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2"
	nsInvoice = "urn:oasis:names:specification:ubl:schema:xsd:Invoice-2"
	nsCredit  = "urn:oasis:names:specification:ubl:schema:xsd:CreditNote-2"
)

// Bounds of what is read. A document of ten thousand lines of 30 elements stays within them; attachments count as text.
const (
	maxBytes    = 16 << 20
	maxDepth    = 24
	maxElements = 500_000
)

// element is one node, its name with the usual prefix: cbc:ID. Text is trimmed; the standard's leaves are never mixed.
type element struct {
	name  string
	attrs [][2]string
	text  string
	kids  []*element
}

// put adds a leaf where there is something to say.
func (e *element) put(name, text string, attrs ...string) {
	if text != "" {
		k := e.group(name)
		k.text = text
		for i := 0; i+1 < len(attrs); i += 2 {
			if attrs[i+1] != "" {
				k.attrs = append(k.attrs, [2]string{attrs[i], attrs[i+1]})
			}
		}
	}
}

// group adds an element for others.
func (e *element) group(name string) *element {
	k := &element{name: name}
	e.kids = append(e.kids, k)
	return k
}

// all finds the descendants on a path such as cac:Party/cbc:Name, relative to the element, in document order.
func (e *element) all(path string) []*element {
	if e == nil {
		return nil
	}
	if path == "" {
		return []*element{e}
	}
	first, rest, _ := strings.Cut(path, "/")
	var out []*element
	for _, k := range e.kids {
		if k.name == first {
			out = append(out, k.all(rest)...)
		}
	}
	return out
}

// at is the first of all, or nil.
func (e *element) at(path string) *element {
	if a := e.all(path); len(a) > 0 {
		return a[0]
	}
	return nil
}

// get is the text at a path, "" where there is none.
func (e *element) get(path string) string {
	if k := e.at(path); k != nil {
		return k.text
	}
	return ""
}

func (e *element) attr(name string) string {
	if e != nil {
		for _, a := range e.attrs {
			if a[0] == name {
				return a[1]
			}
		}
	}
	return ""
}

// render writes the document with its three namespaces on the root.
func (e *element) render(ns string) []byte {
	var b bytes.Buffer
	b.WriteString(xml.Header)
	escape := func(s string) {
		// Writing to a buffer cannot fail.
		_ = xml.EscapeText(&b, []byte(s))
	}
	var write func(e *element, indent string)
	write = func(e *element, indent string) {
		b.WriteString(indent + "<" + e.name)
		if indent == "" {
			fmt.Fprintf(&b, ` xmlns="%s" xmlns:cac="%s" xmlns:cbc="%s"`, ns, nsCAC, nsCBC)
		}
		for _, a := range e.attrs {
			b.WriteString(" " + a[0] + `="`)
			escape(a[1])
			b.WriteString(`"`)
		}
		b.WriteString(">")
		if len(e.kids) == 0 {
			escape(e.text)
		} else {
			b.WriteString("\n")
			for _, k := range e.kids {
				write(k, indent+"  ")
			}
			b.WriteString(indent)
		}
		b.WriteString("</" + e.name + ">\n")
	}
	write(e, "")
	return b.Bytes()
}

// parse reads a document into a tree. It refuses document types (so there are no entities to grow or to fetch), foreign encodings,
// great depth and great numbers; elements of other namespaces are skipped with all that is in them.
func parse(data []byte) (*element, error) {
	if len(data) > maxBytes {
		return nil, fmt.Errorf("the invoice file is %d MB; at most %d are read", len(data)>>20, maxBytes>>20)
	}
	d := xml.NewDecoder(bytes.NewReader(data))
	var root *element
	var open []*element
	var texts [][]byte // of the open elements
	count := 0
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("the invoice file is no well-formed XML in UTF-8 (%w); ask the sender for another copy", err)
		}
		switch tok := tok.(type) {
		case xml.Directive:
			return nil, fmt.Errorf("the invoice file declares a document type, which an invoice never needs; do not trust it")
		case xml.StartElement:
			if count++; count > maxElements || len(open) >= maxDepth {
				return nil, fmt.Errorf("the invoice file nests or lists more than an invoice can (%d deep, %d elements); do not trust it", len(open), count)
			}
			name, ok := prefixed(tok.Name, root == nil)
			switch {
			case root == nil && !ok:
				return nil, fmt.Errorf("the file begins with %q, which is no UBL 2.1 invoice or credit note; other syntaxes are not read", clip(tok.Name.Local))
			case root != nil && len(open) == 0:
				return nil, fmt.Errorf("the invoice file holds two documents; send one a file")
			case !ok:
				if err := d.Skip(); err != nil {
					return nil, fmt.Errorf("the invoice file is no well-formed XML (%w); ask the sender for another copy", err)
				}
				continue
			}
			e := &element{name: name}
			for _, a := range tok.Attr {
				if a.Name.Space == "" && a.Name.Local != "xmlns" {
					e.attrs = append(e.attrs, [2]string{a.Name.Local, a.Value})
				}
			}
			if root == nil {
				root = e
			} else {
				up := open[len(open)-1]
				up.kids = append(up.kids, e)
			}
			open, texts = append(open, e), append(texts, nil)
		case xml.EndElement:
			n := len(open) - 1
			// Only leaves are read for text: what stands between elements is layout.
			if e := open[n]; len(e.kids) == 0 {
				e.text = strings.TrimSpace(string(texts[n]))
			}
			open, texts = open[:n], texts[:n]
		case xml.CharData:
			if n := len(open) - 1; n >= 0 {
				texts[n] = append(texts[n], tok...)
			}
		}
	}
	if root == nil {
		return nil, fmt.Errorf("the invoice file is empty")
	}
	return root, nil
}

func prefixed(n xml.Name, root bool) (string, bool) {
	switch {
	case root:
		return n.Local, n.Space == nsInvoice && n.Local == "Invoice" || n.Space == nsCredit && n.Local == "CreditNote"
	case n.Space == nsCAC:
		return "cac:" + n.Local, true
	case n.Space == nsCBC:
		return "cbc:" + n.Local, true
	}
	return "", false
}

func clip(s string) string {
	if len(s) > 40 {
		return s[:40] + "..."
	}
	return s
}
