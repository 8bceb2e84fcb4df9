package desk

import (
	"context"
	"io"

	"hopperbook/reports"
	"hopperbook/schemas"
)

// BalanceParams says whose balance is asked for.
type BalanceParams struct {
	Machine schemas.MachineID `json:"machine"`
}

// balance answers from the kept result.
func (d *Desk) balance(ctx context.Context, params []byte, w io.Writer) error {
	p, err := paramsOf[BalanceParams]("balance", params)
	if err != nil {
		return err
	}
	res, err := d.result(ctx)
	if err != nil {
		return err
	}
	answer, err := reports.NewBalanceAnswer(res, p.Machine)
	return writeUnless(err, w, answer)
}
