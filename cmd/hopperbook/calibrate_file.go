package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/tidwall/gjson"
	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/desk"
	"hopperbook/cmd/internal/office"
	"hopperbook/reports"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// timed is the data of one test; at is zero where it came without an event.
type timed[T any] struct {
	at   time.Time
	data T
}

const fileHint = "the file holds the data of a test as JSON, a list of such, or events one a line; --help shows an example"

// readTests reads data objects, lists of them, and events: of these only the
// wanted type counts, as amended by the file's own event.amended.
func readTests(r io.Reader, wanted schemas.EventType) ([]timed[string], error) {
	var all []timed[string]
	var events []schemas.Event
	var amended schemas.Amendments
	take := func(raw string) error {
		kind := gjson.Get(raw, "type").Str
		switch {
		case !gjson.Get(raw, "data").IsObject() || kind == "":
			all = append(all, timed[string]{data: raw})
		case kind != string(wanted) && kind != string(schemas.TypeEventAmended):
		case !gjson.Get(raw, "specversion").Exists(): // a line written by hand, as publish takes it
			if kind == string(wanted) {
				at, _ := time.Parse(time.RFC3339, gjson.Get(raw, "time").Str) // without a time it sorts first
				all = append(all, timed[string]{at, gjson.Get(raw, "data").Raw})
			}
		default:
			event, bad := schemas.Read([]byte(raw))
			if bad != nil {
				return fault.New("read the tests", fault.Input, bad, "repair the event")
			}
			if event.Type == schemas.TypeEventAmended {
				return amended.Add(&event)
			}
			events = append(events, event)
		}
		return nil
	}
	if err := eachObject(r, take); err != nil {
		return nil, err
	}
	for _, event := range events {
		event, keep, err := amended.Apply(event)
		if err != nil {
			return nil, err
		}
		if keep {
			all = append(all, timed[string]{event.Time, event.Data})
		}
	}
	return all, nil
}

// eachObject walks the JSON objects of a stream, in lists or one after another.
func eachObject(r io.Reader, take func(raw string) error) error {
	dec := json.NewDecoder(r)
	for n := 1; ; n++ {
		var raw json.RawMessage
		if err := dec.Decode(&raw); errors.Is(err, io.EOF) {
			return nil
		} else if err != nil {
			return fault.New(fmt.Sprintf("read the tests, value %d", n), fault.Input, err, fileHint)
		}
		list := []json.RawMessage{raw}
		if bytes.HasPrefix(raw, []byte("[")) {
			if err := json.Unmarshal(raw, &list); err != nil {
				return fault.New(fmt.Sprintf("read the tests, value %d", n), fault.Input, err, fileHint)
			}
		}
		for _, one := range list {
			if !gjson.ParseBytes(one).IsObject() {
				return fault.Newf(fmt.Sprintf("read the tests, value %d", n), fault.Input, "not an object", fileHint)
			}
			if err := take(string(one)); err != nil {
				return err
			}
		}
	}
}

// fromBook says that the tests are those of the book: no file, none of the
// numbers the test is made of, and a machine, product or test to look for.
func fromBook(c *cli.Context, numbers string) bool {
	return !c.Args().Present() && !c.IsSet(numbers) && (c.IsSet("machine") || c.IsSet("product") || c.IsSet("test"))
}

// testsFor gives the tests a command is about: those of its file or of the book
// that --machine, --product and --test leave, or one empty test to be filled by
// flags. numbers is the flag that holds what was measured.
func testsFor[T any](c *cli.Context, wanted schemas.EventType, numbers string) (tests []timed[T], err error) {
	if err := aboveZero(c); err != nil {
		return nil, err
	}
	if fromBook(c, numbers) {
		all, err := bookedTests(c, wanted)
		if err != nil {
			return nil, err
		}
		return takeTests[T](c, "the book", all, wanted)
	}
	if !c.Args().Present() {
		if c.NumFlags() == 0 {
			return nil, fault.Newf(commandName(c), fault.Usage, "nothing to work out", "give a FILE, - for standard input, or flags; --help shows examples")
		}
		return make([]timed[T], 1), nil
	}
	name := c.Args().First()
	if c.Args().Len() > 1 {
		return nil, fault.Newf(commandName(c), fault.Usage, fmt.Sprintf("it takes one FILE (or - for standard input), got %d arguments", c.Args().Len()), "hopperbook "+commandName(c)+" --help shows an example")
	}
	input := c.App.Reader
	if name != "-" {
		file, err := openFile(commandName(c), name)
		if err != nil {
			return nil, err
		}
		defer file.Close()
		input = file
	}
	all, err := readTests(input, wanted)
	if err != nil {
		return nil, err
	}
	return takeTests[T](c, name, all, wanted)
}

// askTests asks the book for its tests and the products' densities.
func askTests(c *cli.Context) (answer reports.TestsAnswer, err error) {
	err = withAsker(c, func(ctx context.Context, asker office.Asker) error {
		return office.AskJSON(ctx, asker, desk.Tests, desk.TestsParams{Machine: schemas.MachineID(c.String("machine"))}, &answer)
	})
	return answer, err
}

// bookedTests are the book's tests of a kind, as they count.
func bookedTests(c *cli.Context, wanted schemas.EventType) (all []timed[string], err error) {
	answer, err := askTests(c)
	if err != nil {
		return nil, err
	}
	for _, t := range answer.Tests {
		if t.Type == wanted {
			all = append(all, timed[string]{t.At, string(t.Data)})
		}
	}
	return all, nil
}

// takeTests keeps what is asked for and reads it.
func takeTests[T any](c *cli.Context, name string, all []timed[string], wanted schemas.EventType) (tests []timed[T], err error) {
	for _, n := range all {
		if !asked(c, n.data, wanted) {
			continue
		}
		if err := checkNumbers(n.data, wanted); err != nil {
			return nil, err
		}
		one := timed[T]{at: n.at}
		if err := json.Unmarshal([]byte(n.data), &one.data); err != nil {
			return nil, fault.New("read "+name, fault.Input, err, fileHint)
		}
		tests = append(tests, one)
	}
	if len(tests) == 0 && name == "the book" {
		return nil, fault.Newf("read the book", fault.NotFound, fmt.Sprintf("no %s in it is asked for", wanted), "publish the test first, or name another machine, product or test; hopperbook "+commandName(c)+" --help shows an example")
	}
	if len(tests) == 0 {
		return nil, fault.Newf("read "+name, fault.Input, fmt.Sprintf("no %s in it is asked for", wanted), fileHint)
	}
	return tests, nil
}

// checkNumbers holds the numbers that are there against the contract's ranges:
// a bout width of 0 is a mistake, one that is left out is not.
func checkNumbers(data string, wanted schemas.EventType) error {
	info, _ := schemas.Lookup(wanted)
	for _, rule := range info.Data.Fields {
		v := gjson.Get(data, rule.Name)
		if rule.Kind != schemas.KindNumber && rule.Kind != schemas.KindInteger || v.Type != gjson.Number {
			continue // of another type: the decoder says so
		}
		if v.Num < rule.Min || v.Num > rule.Max {
			return fault.Newf("read the tests", fault.Input, fmt.Sprintf("%s: %v is not from %v to %v", rule.Name, v.Raw, rule.Min, rule.Max), "correct it, or leave it out where it is not known")
		}
	}
	return nil
}

func asked(c *cli.Context, data string, wanted schemas.EventType) bool {
	id := strings.TrimPrefix(string(wanted), "test.") + "_test"
	machine := gjson.Get(data, "machine").Str
	return (!c.IsSet("machine") || machine == c.String("machine")) && (!c.IsSet("product") || gjson.Get(data, "product").Str == c.String("product")) &&
		(!c.IsSet("test") || gjson.Get(data, id).Str == c.String("test"))
}

// oneTest is testsFor where one test alone can be worked out: of the book the
// last one.
func oneTest[T any](c *cli.Context, wanted schemas.EventType, numbers string) (one T, err error) {
	tests, err := testsFor[T](c, wanted, numbers)
	if err != nil {
		return one, err
	}
	if len(tests) > 1 && !fromBook(c, numbers) {
		return one, fault.Newf(commandName(c), fault.Usage, fmt.Sprintf("%d tests in the file", len(tests)), "choose one with --test ID")
	}
	return tests[len(tests)-1].data, nil
}

// numberList reads numbers apart by commas or spaces; an empty place between
// commas, or "-", is a missing one.
func numberList(flag, text string) ([]*float64, error) {
	cells := strings.Split(text, ",")
	if len(cells) == 1 {
		cells = strings.Fields(text)
	}
	out := make([]*float64, len(cells))
	for i, cell := range cells {
		if cell = strings.TrimSpace(cell); cell == "" || cell == "-" {
			continue
		}
		v, err := strconv.ParseFloat(cell, 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, fault.Newf("--"+flag, fault.Usage, fmt.Sprintf("%q is not a number", cell), "write numbers apart by commas, like 1.5,2,2.25")
		}
		out[i] = &v
	}
	return out, nil
}

// wholeList is numberList where none may be missing.
func wholeList(flag, text string) ([]float64, error) {
	list, err := numberList(flag, text)
	if err != nil {
		return nil, err
	}
	out := make([]float64, len(list))
	for i, v := range list {
		if v == nil {
			return nil, fault.Newf("--"+flag, fault.Usage, fmt.Sprintf("number %d is missing", i+1), "write numbers apart by commas, like 1.5,2,2.25")
		}
		out[i] = *v
	}
	return out, nil
}
