package tablet

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/tidwall/gjson"

	"hopperbook/ingest"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// plan is what a command will do once it is carried out.
type plan struct {
	entries []Entry
	hand    hand
	result  any
	at      time.Time // of its first event
	given   int64     // identifiers
}

// Do carries out one command of the operator; see the commands of the page.
// When it returns without an error, what it did is on the disk; a refusal
// leaves no trace.
func (c *Cab) Do(ctx context.Context, name string, body json.RawMessage) (Done, error) {
	c.doing.Lock()
	defer c.doing.Unlock()
	done, err := c.do(ctx, name, body)
	return done, fault.Wrap("tablet: "+name, err)
}

func (c *Cab) do(ctx context.Context, name string, body json.RawMessage) (Done, error) {
	if err := ctx.Err(); err != nil {
		return Done{}, fault.New("", fault.Canceled, err, "")
	}
	act, known := c.commands()[name]
	if !known {
		return Done{}, refuse(KeyBody, fault.Usage, "update page and agent together", "there is no command %.40q", name)
	}
	p := plan{hand: c.state.Hand, at: c.stamp()}
	if len(bytes.TrimSpace(body)) == 0 {
		body = json.RawMessage("{}")
	}
	key := newKeyed(ctx, name, body)
	switch was, err := c.state.answered(key); {
	case err != nil:
		return Done{}, err
	case was != nil:
		return *was, nil
	}
	if err := act(&p, body); err != nil {
		return Done{}, err
	}
	for _, e := range p.entries {
		if err := keepsContract(e); err != nil {
			return Done{}, err
		}
	}
	if len(p.entries) == 0 {
		if p.hand == c.state.Hand {
			return Done{Result: p.result}, nil
		}
		done := Done{Result: p.result}
		if err := key.settle(done); err != nil {
			return Done{}, err
		}
		return done, onDisk(c.keep(p.hand, key))
	}
	var done Done
	_, err := c.append(p.hand, func(made []ingest.Outgoing) (*keyed, error) {
		done = Done{Event: schemas.EventID(gjson.GetBytes(made[0].Raw, "id").Str), Type: made[0].Type, Result: p.result}
		return key, key.settle(done)
	}, p.entries...)
	if err != nil {
		return Done{}, onDisk(err)
	}
	return done, nil
}

type command func(p *plan, body json.RawMessage) error

func (c *Cab) commands() map[string]command {
	return map[string]command{
		DoPick: with(c.pick), DoStart: with(c.start), DoFinish: c.finish, DoSpread: with(c.spread), DoSetting: with(c.setting),
		DoLoad: with(c.load), DoRefill: with(c.refill), DoDensity: with(c.density), DoCatch: with(c.catch), DoTray: with(c.tray),
		DoCheck: with(c.check), DoWeather: with(c.weather), DoUndo: with(c.undo), DoNotice: with(c.notice), DoWho: with(c.who), DoTry: with(c.try),
	}
}

// with reads a command's body.
func with[T any](act func(*plan, T) error) command {
	return func(p *plan, body json.RawMessage) error {
		var v T
		if err := json.Unmarshal(body, &v); err != nil {
			return refuse(KeyBody, fault.Usage, "send the command's fields as numbers and text", "the entry cannot be read: %v", err)
		}
		return act(p, v)
	}
}

// keepsContract holds an event against the contract before it is made.
func keepsContract(e Entry) error {
	raw, err := schemas.Write(schemas.Identity{Source: "/office/check", Sequence: 1}, "00000000000000000000000000", e.Type, e.At, e.Data)
	if err != nil {
		return refuse(KeyContract, fault.Input, "correct the entry", "%v", err)
	}
	if _, bad := schemas.Read(raw); bad != nil {
		return refuse(KeyContract, fault.Input, "correct the entry", "%s", bad.Error())
	}
	return nil
}

// onDisk is what the operator is told where the disk did not take an entry.
func onDisk(err error) error {
	switch {
	case err == nil:
		return nil
	case fault.CodeOf(err) == fault.Full:
		return refusal(&Refusal{Key: KeyDiskFull, Text: err.Error()}, fault.Full, "make room on the tablet's disk or bring it into reach of the office, then enter it again")
	}
	return refusal(&Refusal{Key: KeyDisk, Text: err.Error()}, fault.CodeOf(err), "enter it again; if that does not help, write it on paper and call the office")
}

// add puts an event into a plan, later than those before it.
func (p *plan) add(t schemas.EventType, data any) {
	p.entries = append(p.entries, Entry{Type: t, At: p.at, Data: data})
	p.at = p.at.Add(time.Millisecond)
}

// maxID bounds an identifier, by the contract.
const maxID = 64

// id makes an identifier of device, local day and a number that is never
// given again.
func (c *Cab) id(p *plan, t schemas.EventType) string {
	p.given++
	_, letter := idField(t)
	tail := "-" + p.at.In(c.zone()).Format("20060102")
	if c.cfg.Install != "" {
		tail += "-" + c.cfg.Install
	}
	tail += fmt.Sprintf("-%d", c.state.Count+p.given)
	device := string(c.cfg.Device)
	return letter + "-" + device[:min(len(device), maxID-len(tail)-2)] + tail
}

// aboard refuses what only a spreader does.
func (c *Cab) aboard() error {
	if c.cfg.Role == RoleLoader {
		return refuse(KeyRole, fault.Usage, "do it on the spreader's tablet", "this tablet is a loader's")
	}
	return nil
}

func (c *Cab) pick(p *plan, in Pick) error {
	j := c.book.job(in.Job)
	if j == nil {
		return refuse(KeyNoJob, fault.NotFound, "pick a job of the list", "there is no job %.64q", string(in.Job))
	}
	if at := c.book.work.job; at != "" && at != in.Job {
		return refuse(KeyFinishFirst, fault.Conflict, "finish it first", "job %s is started", at)
	}
	for _, v := range c.listJobs(c.fix.UnixMilli != 0) {
		if v.Job == in.Job && (in.Field == "" || in.Field == v.Field) {
			p.hand.Job, p.hand.Field = in.Job, v.Field
			return nil
		}
	}
	return refuse(KeyNoField, fault.NotFound, "pick a field of the job", "field %.64q is none of job %s", string(in.Field), in.Job)
}

func (c *Cab) start(p *plan, in Start) error {
	if err := c.aboard(); err != nil {
		return err
	}
	w := c.work()
	switch {
	case c.book.work.job != "":
		return refuse(KeyStarted, fault.Conflict, "finish it first", "job %s is started already", c.book.work.job)
	case w.job == "":
		return refuse(KeyNoJob, fault.NotFound, "pick a job", "no job is picked")
	}
	data := schemas.JobStarted{Job: w.job, Field: w.field, Operator: p.hand.Operator, Machine: c.cfg.Machine}
	if err := c.cfg.Rules.Start(c.book.checks, p.at, nil); err != nil {
		reason := strings.TrimSpace(in.OverrideReason)
		switch {
		case reason == "":
			return refusal(&Refusal{Key: KeySafety, Text: err.Error()}, fault.Conflict, fault.HintOf(err))
		case strings.TrimSpace(string(p.hand.Operator)) == "":
			return refuse(KeyNoOperator, fault.Conflict, "say who is in the cab", "an override needs a name")
		}
		data.Override = &schemas.Override{Reason: reason, Operator: p.hand.Operator}
		if err := c.cfg.Rules.Start(c.book.checks, p.at, data.Override); err != nil {
			return refusal(&Refusal{Key: KeySafety, Text: err.Error()}, fault.Conflict, fault.HintOf(err))
		}
	}
	p.add(schemas.TypeJobStarted, data)
	return nil
}

func (c *Cab) finish(p *plan, _ json.RawMessage) error {
	if err := c.aboard(); err != nil {
		return err
	}
	w := c.book.work
	if w.job == "" {
		return refuse(KeyNotStarted, fault.Conflict, "start a job", "no job is started")
	}
	p.add(schemas.TypeJobFinished, schemas.JobFinished{Job: w.job, Field: c.work().field, Operator: p.hand.Operator, Machine: c.cfg.Machine})
	p.hand.Job, p.hand.Field, p.hand.Mark = "", "", ""
	return nil
}

func (c *Cab) spread(p *plan, in Spread) error {
	if err := c.aboard(); err != nil {
		return err
	}
	switch {
	case in.Auto:
		p.hand.Mark = ""
	case in.On:
		p.hand.Mark = "on"
	default:
		p.hand.Mark = "off"
	}
	return nil
}

func (c *Cab) setting(p *plan, in schemas.SettingChanged) error {
	if err := c.aboard(); err != nil {
		return err
	}
	product, err := c.aProduct(in.Product)
	if err != nil {
		return err
	}
	in.Product, in.Machine = product, c.cfg.Machine
	p.add(schemas.TypeSettingChanged, in)
	return nil
}

// aProduct is the product named, else the one in use. Where the office has
// sent its products it must be one of them.
func (c *Cab) aProduct(id schemas.ProductID) (schemas.ProductID, error) {
	if id == "" {
		id = c.product()
	}
	if id == "" {
		return "", refuse(KeyNoProduct, fault.Input, "choose a product", "no product is named")
	}
	if len(c.book.products) > 0 && c.book.products[id] == nil {
		return "", refuse(KeyNoProduct, fault.NotFound, "choose a product of the list", "there is no product %.64q", string(id))
	}
	return id, nil
}

func (c *Cab) check(p *plan, in schemas.CheckMachine) error {
	in.Machine = c.cfg.Machine
	p.add(schemas.TypeCheckMachine, in)
	return nil
}

func (c *Cab) weather(p *plan, in schemas.WeatherNoted) error {
	in.Machine = c.cfg.Machine
	p.add(schemas.TypeWeatherNoted, in)
	return nil
}

func (c *Cab) notice(p *plan, in Ack) error {
	for _, n := range c.packet.Notices {
		if n.Notice == in.Notice && !c.book.acked[n.Notice] {
			p.add(schemas.TypeNoticeAcknowledged, schemas.NoticeAcknowledged{Notice: n.Notice, Machine: n.Machine, Kind: n.Kind, Text: n.Text})
			return nil
		}
	}
	return refuse(KeyNoNotice, fault.NotFound, "", "no notice %.64q waits", string(in.Notice))
}

// maxNameRunes bounds an operator's name, by the contract.
const maxNameRunes = 200

func (c *Cab) who(p *plan, in Who) error {
	name := strings.TrimSpace(string(in.Operator))
	if utf8.RuneCountInString(name) > maxNameRunes {
		return refuse(KeyContract, fault.Input, "shorten it", "the name is longer than %d letters", maxNameRunes)
	}
	p.hand.Operator = schemas.Operator(name)
	return nil
}
