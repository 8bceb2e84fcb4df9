package main

import (
	"os"

	"github.com/urfave/cli/v2"

	"hopperbook/reconcile/nutrient"
	"hopperbook/reports"
	"hopperbook/schemas/fault"
)

func rulesCommand() *cli.Command {
	form := []cli.Flag{&cli.BoolFlag{Name: "json", Usage: "print JSON instead of a table"}, &cli.BoolFlag{Name: "csv", Usage: "print CSV instead of a table"}}
	return &cli.Command{
		Name:      "rules",
		ArgsUsage: " ",
		Usage:     "the rule files that come with the program, each with its law, source and caveat",
		Description: "A rule file says as data what a law asks for; hopperbook season --rules holds a season against it. None is legal advice.\n\n" +
			"Examples:\n  hopperbook rules\n  hopperbook rules show nz-synthetic-nitrogen-cap\n  hopperbook rules schema\n  hopperbook rules check mine.json\n  hopperbook rules before j-1-01 --rules us-oh-905-326",
		Flags:  form,
		Action: rulesAction,
		Subcommands: []*cli.Command{
			{Name: "show", ArgsUsage: "NAME", Usage: "what a shipped rule file holds, as JSON: a model for one of your own", Action: rulesShow},
			{Name: "schema", ArgsUsage: " ", Usage: "print the JSON Schema (2020-12) of rule files: what may stand in one of your own", Action: rulesSchema},
			{Name: "check", ArgsUsage: "FILE", Usage: "hold a rule file of your own against the schema", Flags: form, Action: rulesCheck},
			beforeCommand(),
		},
	}
}

func rulesAction(c *cli.Context) error {
	if err := noArguments(c); err != nil {
		return err
	}
	all, err := nutrient.Shipped()
	if err != nil {
		return err
	}
	return answerOrTable(c, reports.NewRulesAnswer(all), reports.RulesTable)
}

func rulesShow(c *cli.Context) error {
	name, err := oneArgument(c, "NAME")
	if err != nil {
		return err
	}
	all, err := nutrient.Named(name)
	if err != nil {
		return err
	}
	return printJSON(c, all[0])
}

func rulesSchema(c *cli.Context) error {
	if err := noArguments(c); err != nil {
		return err
	}
	_, err := c.App.Writer.Write(nutrient.RulesSchema())
	return err
}

func rulesCheck(c *cli.Context) error {
	name, err := oneArgument(c, "FILE")
	if err != nil {
		return err
	}
	raw, err := os.ReadFile(name)
	if err != nil {
		return fault.New("read the rules", fault.NotFound, err, "check the file's name, and that you may read it")
	}
	r, err := nutrient.Read(name, raw)
	if err != nil {
		return err
	}
	return answerOrTable(c, reports.NewRulesAnswer([]nutrient.Rules{r}), reports.RulesTable)
}
