package agenda

import (
	"reflect"
	"strings"
	"testing"
	"time"
)

func contacts() []Contact {
	return []Contact{
		{UID: "person-3@workshop.example", Stamp: time.Date(2026, 11, 25, 9, 30, 0, 0, time.UTC), Name: "Dr. Mara Übung, jun.", Family: "Übung", Given: "Mara", Middle: "Li", Prefix: "Dr.", Suffix: "jun.",
			Organisation: "Delivery Van Fleet; North", Phones: []Reach{{"cell", "+49 151 000000"}, {"", "030 000"}}, Emails: []Reach{{"work", "mara@vans.example"}},
			Addresses: []Address{{"work", "Road 2, Gate 3", "Yard; left", "Big Town", "North", "54321", "Germany"}}, Note: "likes calls before 9\nnever, ever after"},
		{Name: "Fleet desk"},
	}
}

func TestCardText(t *testing.T) {
	data, err := Cards(contacts())
	if err != nil {
		t.Fatal(err)
	}
	want := `BEGIN:VCARD
VERSION:4.0
UID;VALUE=text:person-3@workshop.example
FN:Dr. Mara Übung\, jun.
N:Übung;Mara;Li;Dr.;jun.
ORG:Delivery Van Fleet\; North
TEL;TYPE=cell:+49 151 000000
TEL:030 000
EMAIL;TYPE=work:mara@vans.example
ADR;TYPE=work:;Yard\; left;Road 2\, Gate 3;Big Town;North;54321;Germany
NOTE:likes calls before 9\nnever\, ever after
REV:20261125T093000Z
END:VCARD
BEGIN:VCARD
VERSION:4.0
FN:Fleet desk
END:VCARD
`
	if got := strings.ReplaceAll(string(data), "\r\n", "\n"); got != want {
		t.Errorf("got:\n%s", got)
	}
	got, notes, err := ReadCards(data)
	if err != nil || len(notes) != 0 || !reflect.DeepEqual(got, contacts()) {
		t.Errorf("%+v, %v, %v", got, notes, err)
	}
	if _, err := Cards([]Contact{{Given: "No"}}); err == nil {
		t.Error("a contact without a name to show")
	}
	if _, err := Cards([]Contact{{Name: "N", Phones: []Reach{{"Cell;X", "1"}}}}); err == nil {
		t.Error("a kind that breaks the line")
	}
}

// TestForeignCard is of version 3.0, with a group, a picture, several types and a post box.
func TestForeignCard(t *testing.T) {
	file := "BEGIN:VCARD\nVERSION:3.0\nN:Doe;Jo,Jay;;;\nitem1.TEL;TYPE=VOICE;TYPE=CELL,pref:tel:+1-555\nitem1.X-LABEL:mobile\nADR;TYPE=HOME:PO 7;;;Town;;1;\nORG:Firm;Unit\nPHOTO:AAAA\nREV:2026-01-02T03:04:05Z\nEND:VCARD\n"
	got, notes, err := ReadCards([]byte(file))
	want := []Contact{{Name: "Jo Jay Doe", Family: "Doe", Given: "Jo Jay", Phones: []Reach{{"cell", "+1-555"}}, Addresses: []Address{{Kind: "home", Extra: "PO 7", City: "Town", Postcode: "1"}},
		Organisation: "Firm, Unit", Stamp: time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC)}}
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("%+v, %v", got, err)
	}
	if !reflect.DeepEqual(notes, []string{"PHOTO was left out 1 times", "X-LABEL was left out 1 times"}) {
		t.Errorf("%q", notes)
	}
}

func FuzzReadCards(f *testing.F) {
	data, err := Cards(contacts())
	if err != nil {
		f.Fatal(err)
	}
	f.Add(data)
	f.Add([]byte("BEGIN:VCARD\nVERSION:3.0\nN:Doe;Jo,Jay;;;\nitem1.TEL;TYPE=VOICE;TYPE=CELL,pref:tel:+1-555\nADR;TYPE=HOME:PO 7;;;Town;;1;\nORG:Firm;Unit\nEND:VCARD"))
	f.Add([]byte("BEGIN:VCARD\nN:Doe\nREV:00000101T000000Z\nEND:VCARD")) // no year that can be written
	f.Fuzz(func(t *testing.T, data []byte) {
		in, _, err := ReadCards(data)
		if err != nil {
			return
		}
		out, err := Cards(in)
		if err != nil {
			t.Fatalf("%+v cannot be written: %v", in, err)
		}
		again, notes, err := ReadCards(out)
		if err != nil || len(notes) != 0 || !reflect.DeepEqual(in, again) {
			t.Fatalf("%+v\ncomes back as\n%+v, %v, %v", in, again, notes, err)
		}
	})
}
