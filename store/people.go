package store

import (
	"context"
	"encoding/json"
	"strings"

	"fairmetal/job"
)

// SavePerson checks and stores a person: a new one where the ID is empty, else the changed one.
func (s *Store) SavePerson(ctx context.Context, p job.Person) (job.Person, error) {
	err := s.tx(ctx, func(tx runner) error { return s.savePerson(ctx, tx, &p) })
	return p, err
}

// SavePeople saves several people, all or nothing; what fails is an *ErrAt.
func (s *Store) SavePeople(ctx context.Context, list []job.Person) error {
	return saveAll(ctx, s, list, func(tx runner, p *job.Person) error { return s.savePerson(ctx, tx, p) })
}

func (s *Store) savePerson(ctx context.Context, tx runner, p *job.Person) error {
	if err := p.Check(); err != nil {
		return err
	}
	query := "UPDATE people SET rev = ?, name = ?, company = ?, email = ?, phone = ?, erased = ?, body = ?, updated_at = ? WHERE id = ?"
	if p.ID == "" {
		p.ID, p.Rev = newID(), 1
		query = "INSERT INTO people (rev, name, company, email, phone, erased, body, updated_at, id) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"
	} else {
		if err := change(ctx, tx, "people", p.ID, p.Rev, "person"); err != nil {
			return err
		}
		p.Rev++
	}
	p.Updated = parseTime(s.stamp())
	body, err := json.Marshal(p)
	if err != nil {
		return err
	}
	if _, err := tx.exec(ctx, query, p.Rev, p.Name, p.Company, p.Email, p.Phone, flag(p.Erased), string(body), s.stamp(), p.ID); err != nil {
		return err
	}
	// Lists name the person: keep them true.
	if _, err := tx.exec(ctx, "UPDATE jobs SET customer = ? WHERE person_id = ?", p.Title(), p.ID); err != nil {
		return err
	}
	return s.note(ctx, tx, "person saved", "", p.ID)
}

func scanPerson(r scanner) (job.Person, error) {
	var p job.Person
	var body string
	if err := r.Scan(&body); err != nil {
		return p, missing(err)
	}
	return p, json.Unmarshal([]byte(body), &p)
}

// Person reads one person.
func (s *Store) Person(ctx context.Context, id string) (job.Person, error) {
	return scanPerson(s.row(ctx, "SELECT body FROM people WHERE id = ?", id))
}

// People lists people by name; text narrows the list.
func (s *Store) People(ctx context.Context, text string, limit int) ([]job.Person, error) {
	where, args := words(text, "name", "company", "email", "phone")
	rows, err := s.query(ctx, "SELECT body FROM people WHERE erased = 0"+where+" ORDER BY lower(company || name), id LIMIT ?", append(args, limit)...)
	return all(rows, err, scanPerson)
}

// words asks for every word of a text in one of the columns.
func words(text string, columns ...string) (string, []any) {
	var b strings.Builder
	var args []any
	for _, word := range strings.Fields(text) {
		b.WriteString(" AND (")
		for i, c := range columns {
			if i > 0 {
				b.WriteString(" OR ")
			}
			b.WriteString("lower(" + c + `) LIKE ? ESCAPE '\'`)
			args = append(args, like(word))
		}
		b.WriteString(")")
	}
	return b.String(), args
}

// ErasePerson deletes a person's data: the record, and the name in jobs without an invoice. Papers that tax law keeps stay as they
// were issued, and so does the name in their jobs.
func (s *Store) ErasePerson(ctx context.Context, id string) error {
	return s.tx(ctx, func(tx runner) error {
		p, err := scanPerson(tx.row(ctx, "SELECT body FROM people WHERE id = ?", id))
		if err != nil {
			return err
		}
		body, err := json.Marshal(job.Person{ID: id, Rev: p.Rev + 1, Erased: true, Updated: parseTime(s.stamp())})
		if err != nil {
			return err
		}
		if _, err := tx.exec(ctx, "UPDATE people SET rev = ?, name = '', company = '', email = '', phone = '', erased = 1, body = ?, updated_at = ? WHERE id = ?", p.Rev+1, string(body), s.stamp(), id); err != nil {
			return err
		}
		rows, err := tx.query(ctx, "SELECT "+jobColumns+" FROM jobs WHERE person_id = ? AND id NOT IN (SELECT job_id FROM papers WHERE kind IN ('invoice', 'credit'))", id)
		jobs, err := all(rows, err, scanJob)
		if err != nil {
			return err
		}
		for _, j := range jobs {
			// What was signed goes with the name; what was measured says nothing about a person.
			j.Record.Arrival.Says, j.Record.Arrival.Consent, j.Record.Deal.Accepted, j.Record.Departure.Received = "", job.Signature{}, job.Signature{}, job.Signature{}
			record, err := json.Marshal(j.Record)
			if err != nil {
				return err
			}
			if _, err := tx.exec(ctx, "UPDATE jobs SET rev = rev + 1, person_id = '', customer = '', notes = '', record = ? WHERE id = ?", string(record), j.ID); err != nil {
				return err
			}
			if _, err := tx.exec(ctx, "DELETE FROM papers WHERE job_id = ?", j.ID); err != nil {
				return err
			}
			if _, err := tx.exec(ctx, "DELETE FROM attachments WHERE job_id = ?", j.ID); err != nil {
				return err
			}
		}
		return s.note(ctx, tx, "person erased", "", id)
	})
}

// SaveVehicle checks and stores a vehicle: a new one where the ID is empty, else the changed one.
func (s *Store) SaveVehicle(ctx context.Context, v job.Vehicle) (job.Vehicle, error) {
	err := s.tx(ctx, func(tx runner) error { return s.saveVehicle(ctx, tx, &v) })
	return v, err
}

// SaveVehicles saves several vehicles, all or nothing; what fails is an *ErrAt.
func (s *Store) SaveVehicles(ctx context.Context, list []job.Vehicle) error {
	return saveAll(ctx, s, list, func(tx runner, v *job.Vehicle) error { return s.saveVehicle(ctx, tx, v) })
}

func (s *Store) saveVehicle(ctx context.Context, tx runner, v *job.Vehicle) error {
	if err := v.Check(); err != nil {
		return err
	}
	query := "UPDATE vehicles SET rev = ?, person_id = ?, name = ?, plate = ?, vin = ?, body = ?, updated_at = ? WHERE id = ?"
	if v.ID == "" {
		v.ID, v.Rev = newID(), 1
		query = "INSERT INTO vehicles (rev, person_id, name, plate, vin, body, updated_at, id) VALUES (?, ?, ?, ?, ?, ?, ?, ?)"
	} else {
		if err := change(ctx, tx, "vehicles", v.ID, v.Rev, "vehicle"); err != nil {
			return err
		}
		v.Rev++
	}
	v.Updated = parseTime(s.stamp())
	body, err := json.Marshal(v)
	if err != nil {
		return err
	}
	if _, err := tx.exec(ctx, query, v.Rev, v.PersonID, v.Name, v.Plate, v.VIN, string(body), s.stamp(), v.ID); err != nil {
		return err
	}
	if _, err := tx.exec(ctx, "UPDATE jobs SET vehicle = ? WHERE vehicle_id = ?", v.Name, v.ID); err != nil {
		return err
	}
	return s.note(ctx, tx, "vehicle saved", "", v.ID)
}

func scanVehicle(r scanner) (job.Vehicle, error) {
	var v job.Vehicle
	var body string
	if err := r.Scan(&body); err != nil {
		return v, missing(err)
	}
	return v, json.Unmarshal([]byte(body), &v)
}

// Vehicle reads one vehicle.
func (s *Store) Vehicle(ctx context.Context, id string) (job.Vehicle, error) {
	return scanVehicle(s.row(ctx, "SELECT body FROM vehicles WHERE id = ?", id))
}

// Vehicles lists vehicles by name; text narrows the list, and so does a person.
func (s *Store) Vehicles(ctx context.Context, text, personID string, limit int) ([]job.Vehicle, error) {
	where, args := words(text, "name", "plate", "vin")
	if personID != "" {
		where, args = where+" AND person_id = ?", append(args, personID)
	}
	rows, err := s.query(ctx, "SELECT body FROM vehicles WHERE 1 = 1"+where+" ORDER BY lower(name), id LIMIT ?", append(args, limit)...)
	return all(rows, err, scanVehicle)
}
