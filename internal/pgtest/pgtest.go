// Package pgtest starts a PostgreSQL server of its own for tests: a new cluster in a temporary folder, on loopback, gone afterwards.
package pgtest

import (
	"context"
	"database/sql"
	"fmt"
	"net"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"runtime"
	"strconv"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	_ "github.com/jackc/pgx/v5/stdlib" // the driver
)

// Server is a running cluster.
type Server struct {
	dir  string
	bin  string
	port int
	as   *syscall.Credential
	cmd  *exec.Cmd
}

var (
	once    sync.Once
	shared  *Server
	failure string
	count   atomic.Int64
)

// Schema returns the address of an empty schema of the test binary's server; the test is skipped where PostgreSQL is not installed.
// TestMain must call Stop.
func Schema(t testing.TB) string {
	t.Helper()
	once.Do(func() { shared, failure = start() })
	if failure != "" {
		t.Skip(failure)
	}
	return shared.Schema(t)
}

// Stop ends the test binary's server, if there is one.
func Stop() {
	if shared != nil {
		shared.stop()
	}
}

// New starts a server for one test.
func New(t testing.TB) *Server {
	t.Helper()
	s, why := start()
	if why != "" {
		t.Skip(why)
	}
	t.Cleanup(s.stop)
	return s
}

func (s *Server) address() string {
	return fmt.Sprintf("postgres://postgres@127.0.0.1:%d/postgres", s.port)
}

// Schema makes an empty schema and returns the address that leads into it.
func (s *Server) Schema(t testing.TB) string {
	t.Helper()
	db, err := sql.Open("pgx", s.address())
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	name := fmt.Sprintf("test%d", count.Add(1))
	if _, err := db.ExecContext(context.Background(), "CREATE SCHEMA "+name); err != nil {
		t.Fatal(err)
	}
	return s.address() + "?search_path=" + name
}

func start() (*Server, string) {
	found, err := filepath.Glob("/usr/lib/postgresql/*/bin/initdb")
	if p, lookErr := exec.LookPath("initdb"); err != nil || len(found) == 0 {
		if lookErr != nil {
			return nil, "PostgreSQL (package postgresql) is not on this machine: the shared workshop was not tried on it"
		}
		found = []string{p}
	}
	s := &Server{bin: filepath.Dir(found[len(found)-1])}
	if os.Getuid() == 0 {
		// The server refuses to run as root.
		u, err := user.Lookup("postgres")
		if err != nil {
			return nil, "there is no user postgres to run the server as: the shared workshop was not tried on it"
		}
		uid, _ := strconv.Atoi(u.Uid)
		gid, _ := strconv.Atoi(u.Gid)
		s.as = &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, err.Error()
	}
	s.port = l.Addr().(*net.TCPAddr).Port
	l.Close()
	if s.dir, err = os.MkdirTemp("", "fairmetal-pg-*"); err != nil {
		return nil, err.Error()
	}
	if s.as != nil {
		if err := os.Chown(s.dir, int(s.as.Uid), int(s.as.Gid)); err != nil {
			return nil, err.Error()
		}
	}
	init := exec.Command(filepath.Join(s.bin, "initdb"), "-D", filepath.Join(s.dir, "data"), "-U", "postgres", "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8", "--no-sync")
	init.Dir, init.SysProcAttr = s.dir, &syscall.SysProcAttr{Credential: s.as}
	if out, err := init.CombinedOutput(); err != nil {
		os.RemoveAll(s.dir)
		return nil, fmt.Sprintf("PostgreSQL cannot make a cluster here (%v): %s", err, out)
	}
	if err := s.Start(); err != nil {
		os.RemoveAll(s.dir)
		return nil, fmt.Sprintf("PostgreSQL does not start here: %v", err)
	}
	return s, ""
}

// Start starts the server and waits until it answers.
func (s *Server) Start() error {
	s.cmd = exec.Command(filepath.Join(s.bin, "postgres"), "-D", filepath.Join(s.dir, "data"), "-p", strconv.Itoa(s.port), "-k", s.dir, "-c", "listen_addresses=127.0.0.1", "-c", "shared_buffers=32MB", "-c", "max_connections=60", "-c", "log_min_messages=fatal")
	// The server ends with this process, even when that is killed.
	s.cmd.Dir, s.cmd.SysProcAttr = s.dir, dying(&syscall.SysProcAttr{Credential: s.as})
	begun := make(chan error)
	go func() {
		runtime.LockOSThread() // the death signal is the thread's, which must live as long
		begun <- s.cmd.Start()
		select {}
	}()
	if err := <-begun; err != nil {
		return err
	}
	db, err := sql.Open("pgx", s.address())
	if err != nil {
		return err
	}
	defer db.Close()
	for range 300 {
		if err = db.Ping(); err == nil {
			return nil
		}
		time.Sleep(100 * time.Millisecond)
	}
	return err
}

// Crash ends the server at once, as a power cut would; Start starts it again.
func (s *Server) Crash() {
	s.cmd.Process.Signal(syscall.SIGQUIT)
	s.cmd.Wait()
}

func (s *Server) stop() {
	s.Crash()
	os.RemoveAll(s.dir)
}
