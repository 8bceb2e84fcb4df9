package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"reflect"

	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/desk"
	"hopperbook/cmd/internal/office"
	"hopperbook/cmd/internal/paper"
	"hopperbook/reconcile/nutrient"
	"hopperbook/reports"
	"hopperbook/reports/render"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func seasonCommand() *cli.Command {
	return &cli.Command{
		Name:      "season",
		ArgsUsage: " ",
		Usage:     "a customer's records of a season: nutrients by field, limits, checks, every figure traceable",
		Description: "Prints the nutrients of each field; with --out it writes a folder: PDF and HTML for reading, XLSX and CSV for authorities, JSON with\n" +
			"its schema, GeoPackage and GeoJSON for maps, a copy of each rule file, and a manifest from which hopperbook verify DIR draws it\n" +
			"all again and names what was altered. --rules names shipped rule files\n" +
			"(hopperbook rules) or files of your own. No limit is checked that is not named. Records are no legal advice: the local\n" +
			"authority and a licensed adviser decide.\n\n" +
			"Example:\n  hopperbook season --customer fernwick --season 2026 --rules nz-synthetic-nitrogen-cap --out records",
		Flags: append(append(tableFlags(), seasonFlags()...),
			&cli.StringFlag{Name: "out", Usage: "write the records into folder `DIR`, over records that are there and over no other file"}, paperFlag()),
		Action: seasonAction,
	}
}

func seasonFlags() []cli.Flag {
	return []cli.Flag{
		&cli.StringFlag{Name: "customer", Required: true, Usage: "whose fields: `CUSTOMER`"},
		&cli.StringFlag{Name: "season", Usage: "`SEASON`: a calendar year like 2026, or 2025/26"},
		&cli.StringFlag{Name: "from", Usage: "first local `DAY`, instead of a season; limits are judged only where the dates hold their whole period"},
		&cli.StringFlag{Name: "to", Usage: "local `DAY` after the last one"},
		&cli.StringFlag{Name: "starts", Usage: "first `DAY` (MM-DD) of a season over two years", DefaultText: desk.DefaultStarts},
		&cli.StringFlag{Name: "zone", Usage: "IANA time `ZONE` whose days count", DefaultText: "the contractor's, else the machines', else UTC"},
		rulesFlag(false),
	}
}

func rulesFlag(required bool) cli.Flag {
	return &cli.StringSliceFlag{Name: "rules", Required: required, Usage: "`RULES` to hold it against: the name of a shipped rule file, or a file; may be given several times"}
}

// seasonParams reads the flags, and the user's own rule files.
func seasonParams(c *cli.Context) (desk.SeasonParams, error) {
	p := desk.SeasonParams{Customer: schemas.CustomerID(c.String("customer")), Season: c.String("season"), From: c.String("from"), To: c.String("to"), Starts: c.String("starts"), Zone: c.String("zone")}
	var err error
	p.Rules, p.Files, err = ruleFiles(c)
	return p, err
}

// ruleFiles are those named by --rules: names of shipped ones, and files read.
func ruleFiles(c *cli.Context) (names []string, files []desk.RuleFile, err error) {
	for _, name := range c.StringSlice("rules") {
		if filepath.Ext(name) == "" {
			names = append(names, name)
			continue
		}
		raw, err := os.ReadFile(name)
		if err != nil {
			return nil, nil, fault.New("read the rules", fault.NotFound, err, "name a shipped rule file (hopperbook rules lists them) or a file that exists")
		}
		if err := itself(name, raw); err != nil {
			return nil, nil, err
		}
		files = append(files, desk.RuleFile{Name: name, Text: string(raw)})
	}
	return names, files, nil
}

// itself refuses a file that bears the name of a shipped one and says other
// things: on paper nobody could tell them apart.
func itself(name string, raw []byte) error {
	r, err := nutrient.Read(name, raw)
	if err != nil {
		return err
	}
	if shipped, err := nutrient.Named(r.ID); err == nil && !reflect.DeepEqual(shipped[0], r) {
		return fault.Newf("read the rules", fault.Input, fmt.Sprintf("%s has the id of the shipped rule file %s and is another", name, r.ID), "give it an id of its own, or name the shipped one: --rules "+r.ID)
	}
	return nil
}

func seasonAction(c *cli.Context) error {
	if err := noArguments(c); err != nil {
		return err
	}
	p, err := seasonParams(c)
	if err != nil {
		return err
	}
	var a reports.SeasonAnswer
	err = withAsker(c, func(ctx context.Context, asker office.Asker) error {
		return office.AskJSON(ctx, asker, desk.Season, p, &a)
	})
	if err != nil {
		return err
	}
	if dir := c.String("out"); dir != "" {
		k := paper.Pack{Answer: a, Asked: p, Paper: render.Paper(c.String("paper")), Program: version}
		if err := k.Write(dir); err != nil {
			return err
		}
		logf("records are in %s: start with records.pdf; hopperbook verify %s checks them", dir, dir)
	}
	return answerOrTable(c, a, reports.SeasonTerminal)
}

// verifyPack draws a folder of records again from what the book held then, and
// holds its files against that, and its evidence against the book as it is.
func verifyPack(c *cli.Context, dir string) error {
	m, err := paper.ReadManifest(dir)
	if err != nil {
		return err
	}
	a := reports.NewPackAnswer(dir, m)
	ask := desk.SeasonParams{Customer: m.Customer, Season: m.Season, From: m.From, To: m.To, Starts: m.Starts, Zone: m.TimeZone}
	if m.From != "" {
		ask.Season = "" // it only names the dates
	}
	rules, changes := paper.Rules(dir, m)
	a.Alter(changes)
	ask.Files = rules // the land they count is evidence
	then := ask
	then.AsOf = m.Marks
	var now, was reports.SeasonAnswer
	err = withAsker(c, func(ctx context.Context, asker office.Asker) error {
		var lacking error
		if lacking = office.AskJSON(ctx, asker, desk.Season, ask, &now); lacking == nil {
			a.HoldEvidence(m.Evidence, now.Evidence)
			if len(m.Marks) == 0 && !a.Unchanged || len(rules) < len(m.Rules) {
				return nil
			}
			lacking = office.AskJSON(ctx, asker, desk.Season, then, &was)
			a.Drawn = lacking == nil
		}
		switch fault.CodeOf(lacking) {
		case fault.NotFound, fault.Input, fault.Usage: // of what the manifest names
			a.Note("the records cannot be drawn again: " + fault.Message(lacking))
			return nil
		}
		return lacking
	})
	if err != nil {
		return err
	}
	if a.Drawn {
		k := paper.Pack{Answer: was, Asked: then, Paper: render.Paper(m.Paper), Program: version}
		changes, err = k.Hold(dir, m)
	} else {
		a.Note("the files are held only against the manifest beside them, which whoever altered them can have altered too")
		changes, err = paper.HoldManifest(dir, m)
	}
	if err != nil {
		return err
	}
	a.Alter(changes)
	if err := answerOrTable(c, a, reports.VerifiedPack); err != nil {
		return err
	}
	if !a.Whole || !a.Unchanged || !a.Drawn {
		return fault.Newf("verify "+dir, fault.Conflict, "it does not agree with the book", "what differs stands above; hopperbook season --out writes the records anew")
	}
	return nil
}

func whyCommand() *cli.Command {
	return &cli.Command{
		Name:      "why",
		ArgsUsage: "ID",
		Usage:     "where a figure of a season's records comes from: its applications, or of an application its events",
		Description: "The IDs stand beside the figures in the CSV, XLSX and JSON of hopperbook season --out. From any figure it is two steps to\n" +
			"the events: the figure's applications, then an application's events. A verdict that counts none leads to the registers of its land.\n\n" +
			"Example:\n  hopperbook why sum/field/f01/2026/N --customer fernwick --season 2026",
		Flags:  append(tableFlags(), seasonFlags()...),
		Action: whyAction,
	}
}

func whyAction(c *cli.Context) error {
	id, err := oneArgument(c, "ID")
	if err != nil {
		return err
	}
	p, err := seasonParams(c)
	if err != nil {
		return err
	}
	var a reports.WhyAnswer
	err = withAsker(c, func(ctx context.Context, asker office.Asker) error {
		return office.AskJSON(ctx, asker, desk.Why, desk.WhyParams{SeasonParams: p, ID: id}, &a)
	})
	if err != nil {
		return err
	}
	return answerOrTable(c, a, reports.WhyTable)
}

// isFolder reports whether the argument of verify is a folder of records.
func isFolder(name string) bool {
	info, err := os.Stat(name)
	return err == nil && info.IsDir()
}
