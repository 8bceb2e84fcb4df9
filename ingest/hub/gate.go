package hub

import (
	"encoding/base64"
	"fmt"
	"net"
	"regexp"
	"strconv"
	"strings"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nkeys"

	"hopperbook/schemas"
)

// enrolLogin is what a connection that enrols is called in the server's lists;
// the others are listed by their key.
const enrolLogin = "_enrol"

// gate decides who may connect to the embedded server and what each may do.
// There is no way in without a key, on loopback neither: a port forwarded to
// this machine would be one into the book.
type gate struct {
	registry *Registry
	office   string // public key
}

// Check implements server.Authentication.
func (g *gate) Check(c server.ClientAuthentication) bool {
	o := c.GetOpts()
	if o.Nkey == "" && o.Username == schemas.EnrolUser {
		c.RegisterUser(&server.User{Username: enrolLogin, Permissions: enrolRights(g.registry.contractor)})
		return true
	}
	from := ""
	if a := c.RemoteAddress(); a != nil {
		from, _, _ = net.SplitHostPort(a.String())
	}
	if why, device := g.admit(c, o); why != "" {
		g.registry.refused.note(Refusal{Reason: why, Device: device, Key: o.Nkey, From: from})
		return false
	}
	return true
}

// admit registers whoever proves a key. It holds the registry while it does,
// so that whom a revocation does not find connected it finds refused.
func (g *gate) admit(c server.ClientAuthentication, o *server.ClientOpts) (Reason, schemas.DeviceID) {
	g.registry.mu.RLock()
	defer g.registry.mu.RUnlock()
	device, known := g.registry.byKey(o.Nkey)
	switch {
	case o.Nkey == "":
		return NoCredentials, ""
	case o.Nkey != g.office && !known:
		return UnknownKey, ""
	case !proven(o.Nkey, o.Sig, c.GetNonce()):
		return BadSignature, device.Device
	case o.Nkey == g.office:
		c.RegisterUser(&server.User{})
		return "", ""
	case !device.RevokedAt.IsZero():
		return Revoked, device.Device
	}
	c.RegisterUser(&server.User{Permissions: deviceRights(g.registry.contractor, device.Device)})
	return "", device.Device
}

// proven reports whether the nonce was signed with the key's seed.
func proven(public, signature string, nonce []byte) bool {
	sig, err := base64.RawURLEncoding.DecodeString(signature)
	if err != nil {
		if sig, err = base64.StdEncoding.DecodeString(signature); err != nil {
			return false
		}
	}
	key, err := nkeys.FromPublicKey(public)
	return err == nil && len(nonce) > 0 && key.Verify(nonce, sig) == nil
}

// deviceRights: its own events out, its own packet asked for, its own marks and
// news in, its own inboxes; nothing of anybody else's.
func deviceRights(c schemas.ContractorID, d schemas.DeviceID) *server.Permissions {
	return &server.Permissions{
		Publish:   &server.SubjectPermission{Allow: []string{"book." + string(c) + "." + string(d) + ".>", schemas.CabSubject(c, d)}},
		Subscribe: &server.SubjectPermission{Allow: []string{schemas.MarksSubject(c, d), schemas.CabNewsSubject(c, d), schemas.DeviceInbox(c, d) + ".>"}},
	}
}

// enrolRights: to hand in a code and hear the answer, in which nothing is
// secret.
func enrolRights(c schemas.ContractorID) *server.Permissions {
	return &server.Permissions{
		Publish:   &server.SubjectPermission{Allow: []string{schemas.EnrolSubject(c)}},
		Subscribe: &server.SubjectPermission{Allow: []string{schemas.EnrolInbox + ".>"}},
	}
}

// violation is a try to publish or read where the connection may not.
type violation struct {
	cid     uint64
	subject string
}

// violationOf reads the server's log line of a refused subject. The server
// tells of it nowhere else; a test holds the form of the line.
func violationOf(line string) (violation, bool) {
	m := regexp.MustCompile(`cid:(\d+) - .*Violation.* (?:Subject|Reply) "([^"]*)"`).FindStringSubmatch(line)
	if m == nil {
		return violation{}, false
	}
	cid, err := strconv.ParseUint(m[1], 10, 64)
	return violation{cid, m[2]}, err == nil
}

// serverLog passes the server's errors on; the rest is not for people (one
// warning is about our own choice of maxPayload). Refused connections are told
// by the gate, refused subjects by watch, both with the device's name.
type serverLog struct {
	logf    func(string, ...any)
	refused chan<- violation
}

func (l serverLog) say(format string, v []any) {
	if l.logf != nil {
		l.logf("nats: "+format, v...)
	}
}

// Errorf implements server.Logger.
func (l serverLog) Errorf(format string, v ...any) {
	line := fmt.Sprintf(format, v...)
	if one, ok := violationOf(line); ok {
		select {
		case l.refused <- one:
			return
		default: // more than can be told apart: the line itself
		}
	} else if strings.Contains(line, server.ErrAuthentication.Error()) {
		return
	}
	l.say("%s", []any{line})
}
func (l serverLog) Noticef(string, ...any)    {}
func (l serverLog) Warnf(string, ...any)      {}
func (l serverLog) Fatalf(f string, v ...any) { l.say(f, v) }
func (l serverLog) Debugf(string, ...any)     {}
func (l serverLog) Tracef(string, ...any)     {}

// watch notes refused subjects with the device that tried, until the hub
// closes.
func (h *Hub) watch() {
	defer close(h.watched)
	for {
		select {
		case v := <-h.refused:
			h.registry.refused.note(h.refusalOf(v))
		case <-h.closing:
			return
		}
	}
}

func (h *Hub) refusalOf(v violation) Refusal {
	one := Refusal{Reason: NotAllowed, Subject: v.subject}
	list, err := h.server.Connz(&server.ConnzOptions{CID: v.cid, Username: true, State: server.ConnAll})
	if err == nil && len(list.Conns) == 1 {
		one.Key, one.From = list.Conns[0].AuthorizedUser, list.Conns[0].IP
		one.Device = h.registry.nameOf(one.Key)
	}
	return one
}

// allConnections is more than a hub ever has.
const allConnections = 1 << 16

// Connected lists the devices that are connected now; none with a server of
// somebody's own. The server also lists, for a moment, a try that it is about
// to refuse: a revoked device is never connected.
func (h *Hub) Connected() map[schemas.DeviceID]bool {
	on := map[schemas.DeviceID]bool{}
	open := h.connections("")
	h.registry.mu.RLock()
	defer h.registry.mu.RUnlock()
	for _, c := range open {
		if d, known := h.registry.byKey(c.AuthorizedUser); known && d.RevokedAt.IsZero() {
			on[d.Device] = true
		}
	}
	return on
}

func (h *Hub) connections(key string) []*server.ConnInfo {
	if h.server == nil {
		return nil
	}
	list, err := h.server.Connz(&server.ConnzOptions{Username: true, User: key, State: server.ConnOpen, Limit: allConnections})
	if err != nil {
		return nil // it is shutting down
	}
	return list.Conns
}

// disconnect ends the connections of a key that is not admitted any more.
func (h *Hub) disconnect(key string) {
	for _, c := range h.connections(key) {
		_ = h.server.DisconnectClientByID(c.Cid) // gone already is as good
	}
}
