package main

import (
	"context"

	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/desk"
	"hopperbook/cmd/internal/office"
	"hopperbook/reports"
	"hopperbook/schemas"
)

func balanceCommand() *cli.Command {
	return &cli.Command{
		Name:      "balance",
		Usage:     "what a machine spread from each refill to the next, its flow ratio, and what is in its hopper now",
		ArgsUsage: "MACHINE",
		Description: "MACHINE is the name of its tablet, as in hopperbook drift. A row is what went out from one refill to the next: the\n" +
			"loads and the residuals read, nothing else, where both residuals are known. Where one is not, the mass of the refills\n" +
			"together is shared by nominal mass; after the last reading it is estimated from the flow ratio.\n\n" +
			"Example:\n  hopperbook balance spreader-1 --csv",
		Flags:  tableFlags(),
		Action: balanceAction,
	}
}

func balanceAction(c *cli.Context) error {
	machine, err := oneArgument(c, "MACHINE")
	if err != nil {
		return err
	}
	var answer reports.BalanceAnswer
	err = withAsker(c, func(ctx context.Context, asker office.Asker) error {
		return office.AskJSON(ctx, asker, desk.Balance, desk.BalanceParams{Machine: schemas.MachineID(machine)}, &answer)
	})
	if err != nil {
		return err
	}
	return answerOrTable(c, answer, reports.Balance)
}
