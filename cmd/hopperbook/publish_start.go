package main

import (
	"bufio"
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
	"os"
	"strings"

	"github.com/tidwall/gjson"

	"hopperbook/cmd/internal/desk"
	"hopperbook/cmd/internal/office"
	"hopperbook/ingest"
	"hopperbook/ingest/exchange"
	"hopperbook/reconcile/calibration"
	"hopperbook/reports"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// guarded gives a file's events, or refuses them where a job would be started
// against a failed safety check. Only the file's bare lines are made into
// events here and can be refused; what brings an identity has happened.
func guarded(file *os.File, reason string, operator schemas.Operator) office.Events {
	return func(ctx context.Context, asker office.Asker) (iter.Seq2[ingest.Outgoing, error], error) {
		if makes, err := makesStarts(file); err != nil || !makes {
			return exchange.Events(file), err
		}
		starts, checks, err := startsOf(file)
		if err != nil || len(starts) == 0 {
			return exchange.Events(file), err
		}
		var booked reports.TestsAnswer
		if err := office.AskJSON(ctx, asker, desk.Tests, desk.TestsParams{}, &booked); err != nil {
			return nil, err
		}
		for _, t := range booked.Tests {
			if t.Type == schemas.TypeCheckMachine {
				one := calibration.Check{Machine: t.Machine, At: t.At}
				if err := json.Unmarshal(t.Data, &one.CheckMachine); err != nil {
					return nil, fault.New("read the book's machine checks", fault.Internal, err, "hub and command are of different versions; update the older")
				}
				checks = append(checks, one)
			}
		}
		changed, err := allowed(starts, checks, reason, operator)
		return replaced(exchange.Events(file), changed), err
	}
}

// makesStarts tells, without reading more than it must of a large file, whether
// a line of it names the type and brings no source. It leaves the file at its
// beginning.
func makesStarts(file io.ReadSeeker) (found bool, err error) {
	for r := bufio.NewReaderSize(file, 1<<20); !found; {
		line, readErr := r.ReadSlice('\n') // of a line longer than the buffer, pieces: none is a job.started
		found = bytes.Contains(line, []byte(schemas.TypeJobStarted)) && !gjson.GetBytes(line, "source").Exists()
		if errors.Is(readErr, io.EOF) {
			break
		}
		if readErr != nil && !errors.Is(readErr, bufio.ErrBufferFull) {
			return false, fault.New("read the events", fault.Input, readErr, "is it a readable file?")
		}
	}
	if _, err := file.Seek(0, io.SeekStart); err != nil {
		return false, fault.New("read the events", fault.Input, err, "give a file, or - for standard input")
	}
	return found, nil
}

// startsOf gives the starts that would be made here, and every machine check in
// the file; it leaves the file at its beginning. Other lines that break the contract
// are left to the book, which keeps them with the reason.
func startsOf(file *os.File) (starts []schemas.Event, checks []calibration.Check, err error) {
	source, err := exchange.FileSource(file)
	if err != nil {
		return nil, nil, err
	}
	var broken error // a check that the book would not take
	for out, err := range exchange.Events(file) {
		if err != nil {
			return nil, nil, err
		}
		if out.Type != schemas.TypeJobStarted && out.Type != schemas.TypeCheckMachine {
			continue
		}
		event, bad := schemas.Read(out.Raw)
		switch {
		case bad != nil && out.Type == schemas.TypeCheckMachine:
			broken = bad
		case bad != nil:
		case event.Type == schemas.TypeCheckMachine:
			data, err := schemas.DecodeData[schemas.CheckMachine](&event)
			if err != nil {
				return nil, nil, err
			}
			checks = append(checks, calibration.Check{Machine: event.Machine(), At: event.Time, CheckMachine: data})
		case event.Source == source:
			starts = append(starts, event)
		}
	}
	if len(starts) > 0 && broken != nil {
		return nil, nil, fault.New("publish: a machine check beside a job's start breaks the contract; nothing was sent", fault.Input, broken,
			"mend the check's line: whether the machine may start hangs on it")
	}
	_, err = file.Seek(0, io.SeekStart)
	return starts, checks, err
}

// allowed holds every start against the checks. It gives the data of those
// that are started under the override of the flags.
func allowed(starts []schemas.Event, checks []calibration.Check, reason string, operator schemas.Operator) (map[schemas.Identity]string, error) {
	changed := map[schemas.Identity]string{}
	for _, start := range starts {
		data, err := schemas.DecodeData[schemas.JobStarted](&start)
		if err != nil {
			return nil, err
		}
		override := data.Override
		flagged := override == nil && strings.TrimSpace(reason) != ""
		if flagged {
			override = &schemas.Override{Reason: reason, Operator: cmp.Or(operator, data.Operator)}
		}
		if err := named(start, data, checks); err != nil {
			return nil, err
		}
		plan := calibration.PlanStart(checks, start.Machine(), start.Time, override, calibration.DefaultCheckLimits())
		switch err := plan.Refusal(); {
		case err != nil && flagged:
			return nil, fault.Newf(fmt.Sprintf("publish: start job %s", data.Job), fault.Usage, "an override needs the name of who answers for it", "give --operator NAME, or operator in the line")
		case err != nil:
			return nil, fault.New(fmt.Sprintf("publish: job %s of %s; nothing was sent", data.Job, cmp.Or(start.Machine(), "a machine without a name")), fault.CodeOf(err), err,
				"stop the engine, put it right and publish the check again; or start under --override REASON [--operator NAME], which is recorded")
		case flagged && len(plan.Blocked) > 0:
			added, err := json.Marshal(override)
			if err != nil {
				return nil, fault.New("publish", fault.Internal, err, "")
			}
			changed[start.Identity] = `{"override":` + string(added) + "," + strings.TrimSpace(start.Data[1:])
		}
	}
	return changed, nil
}

// replaced gives some events other data.
func replaced(events iter.Seq2[ingest.Outgoing, error], data map[schemas.Identity]string) iter.Seq2[ingest.Outgoing, error] {
	return func(yield func(ingest.Outgoing, error) bool) {
		for out, err := range events {
			if with, ok := data[out.Identity]; ok && err == nil {
				old := gjson.GetBytes(out.Raw, "data")
				out.Raw = []byte(string(out.Raw[:old.Index]) + with + string(out.Raw[old.Index+len(old.Raw):]))
			}
			if !yield(out, err) {
				return
			}
		}
	}
}

// named refuses a start that names no machine where any machine has a failed
// safety check: it may be that one's.
func named(start schemas.Event, data schemas.JobStarted, checks []calibration.Check) error {
	if start.Machine() != "" {
		return nil
	}
	for _, c := range checks {
		if calibration.PlanStart(checks, c.Machine, start.Time, nil, calibration.DefaultCheckLimits()).Refusal() != nil {
			return fault.Newf(fmt.Sprintf("publish: job %s; nothing was sent", data.Job), fault.Usage,
				fmt.Sprintf("the start names no machine, and a safety check of %s has failed", cmp.Or(string(c.Machine), "a machine without a name")),
				`put "machine" into the line's data`)
		}
	}
	return nil
}
