package kernel

import (
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"time"

	"gravity.example/gravlab/internal/atomicfile"
)

// The wire format is that of "Messaging in Jupyter", protocol 5.3 and later:
// identities, a delimiter, a signature, and four JSON objects.
const delimiter = "<IDS|MSG>"

const protocolVersion = "5.3"

// A connection is the content of a connection file: where a kernel listens and
// the key that signs what is said to it.
type connection struct {
	IP              string `json:"ip"`
	Transport       string `json:"transport"`
	ShellPort       int    `json:"shell_port"`
	IOPubPort       int    `json:"iopub_port"`
	StdinPort       int    `json:"stdin_port"`
	ControlPort     int    `json:"control_port"`
	HeartbeatPort   int    `json:"hb_port"`
	Key             string `json:"key"`
	SignatureScheme string `json:"signature_scheme"`
	KernelName      string `json:"kernel_name,omitempty"`
}

// connectionIn returns the connection to a kernel of ours whose sockets lie in a
// folder that only this user may enter. A TCP port is open to every user of the
// machine: they read what the kernel publishes, and a message that is not signed
// with the key ends GoNB.
func connectionIn(folder string) connection {
	return connection{
		IP: filepath.Join(folder, "jupyter"), Transport: "ipc", Key: newID(), SignatureScheme: "hmac-sha256", KernelName: Name,
		ShellPort: 1, IOPubPort: 2, StdinPort: 3, ControlPort: 4, HeartbeatPort: 5, // the ends of the sockets' names
	}
}

// newConnection picks ports that are free now, for a kernel of another
// kernelspec: not all know other transports. Another program may take one
// before the kernel does; the caller then starts again with new ones.
func newConnection(kernelName string) (connection, error) {
	c := connection{IP: "127.0.0.1", Transport: "tcp", Key: newID(), SignatureScheme: "hmac-sha256", KernelName: kernelName}
	for _, port := range []*int{&c.ShellPort, &c.IOPubPort, &c.StdinPort, &c.ControlPort, &c.HeartbeatPort} {
		// All five stay open until all are chosen, so that they differ.
		l, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			return c, fmt.Errorf("no free port for the kernel: %w", err)
		}
		defer l.Close()
		*port = l.Addr().(*net.TCPAddr).Port
	}
	return c, nil
}

// write puts the connection file into dir. GoNB reads the kernel's id out of
// its name.
func (c connection) write(dir string) (string, error) {
	data, err := json.MarshalIndent(c, "", "  ")
	if err != nil {
		return "", err
	}
	name := filepath.Join(dir, "kernel-"+newID()+".json")
	return name, atomicfile.WriteFile(name, data, 0o600)
}

func readConnection(name string) (connection, error) {
	var c connection
	data, err := os.ReadFile(name)
	if err != nil {
		return c, fmt.Errorf("connection file: %w", err)
	}
	if err := json.Unmarshal(data, &c); err != nil {
		return c, fmt.Errorf("connection file %s: %w", name, err)
	}
	if c.Transport != "tcp" && c.Transport != "ipc" {
		// GoNB would crash on it.
		return c, fmt.Errorf("connection file %s: transport is %q; allowed: tcp, ipc", name, c.Transport)
	}
	if c.ShellPort == 0 || c.IOPubPort == 0 || c.ControlPort == 0 || c.StdinPort == 0 || c.HeartbeatPort == 0 {
		return c, fmt.Errorf("connection file %s: a port is missing", name)
	}
	if c.SignatureScheme != "" && c.SignatureScheme != "hmac-sha256" {
		return c, fmt.Errorf("connection file %s: signature_scheme is %q; allowed: hmac-sha256", name, c.SignatureScheme)
	}
	return c, nil
}

func (c connection) address(port int) string {
	if c.Transport == "ipc" {
		return fmt.Sprintf("ipc://%s-%d", c.IP, port)
	}
	return fmt.Sprintf("tcp://%s:%d", c.IP, port)
}

type header struct {
	MsgID    string `json:"msg_id"`
	Session  string `json:"session"`
	Username string `json:"username"`
	Date     string `json:"date"`
	MsgType  string `json:"msg_type"`
	Version  string `json:"version"`
}

// A message is one that has come in.
type message struct {
	channel string
	header  header
	parent  header
	content json.RawMessage
}

// into decodes the content. What a kernel sends is checked by whoever uses it,
// so an odd field is left at its zero value.
func (m message) into(v any) {
	_ = json.Unmarshal(m.content, v)
}

// encode returns the frames of a request, without identities: a DEALER socket
// needs none.
func encode(key string, h header, content any) ([][]byte, error) {
	head, err := json.Marshal(h)
	if err != nil {
		return nil, err
	}
	body, err := json.Marshal(content)
	if err != nil {
		return nil, err
	}
	parts := [][]byte{head, []byte("{}"), []byte("{}"), body}
	return append([][]byte{[]byte(delimiter), sign(key, parts)}, parts...), nil
}

func sign(key string, parts [][]byte) []byte {
	if key == "" {
		return nil
	}
	mac := hmac.New(sha256.New, []byte(key))
	for _, p := range parts {
		mac.Write(p)
	}
	return []byte(hex.EncodeToString(mac.Sum(nil)))
}

// decode checks the signature and takes a message apart.
func decode(key string, frames [][]byte) (message, error) {
	var m message
	at := 0
	for at < len(frames) && string(frames[at]) != delimiter {
		at++
	}
	if len(frames) < at+6 {
		return m, errors.New("message without a delimiter and its five parts")
	}
	parts := frames[at+2 : at+6]
	if key != "" && !hmac.Equal(frames[at+1], sign(key, parts)) {
		return m, errors.New("message with a wrong signature")
	}
	if err := json.Unmarshal(parts[0], &m.header); err != nil {
		return m, fmt.Errorf("header of a message: %w", err)
	}
	if err := json.Unmarshal(parts[1], &m.parent); err != nil {
		return m, fmt.Errorf("parent header of a message: %w", err)
	}
	m.content = parts[3]
	return m, nil
}

func newHeader(session, msgType string) header {
	return header{
		MsgID: newID(), Session: session, Username: "gravlab", MsgType: msgType, Version: protocolVersion,
		Date: time.Now().UTC().Format("2006-01-02T15:04:05.000000Z"),
	}
}

// newID returns 128 random bits as hexadecimal digits in the grouping of a UUID.
func newID() string {
	var b [16]byte
	rand.Read(b[:])
	return fmt.Sprintf("%x-%x-%x-%x-%x", b[:4], b[4:6], b[6:8], b[8:10], b[10:])
}
