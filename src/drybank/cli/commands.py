"""Every command module, in the order `drybank --help` lists them. Importing one registers it."""

# ruff: noqa: F401, I001
import drybank.cli.demo
import drybank.cli.open
import drybank.cli.files
import drybank.cli.enter
import drybank.cli.plan
import drybank.cli.tariff
import drybank.cli.traffic
import drybank.cli.house
import drybank.cli.card
import drybank.cli.setting
import drybank.cli.dry
import drybank.cli.proof
import drybank.cli.weigh
import drybank.cli.balance
import drybank.cli.fleet
import drybank.cli.cash
import drybank.cli.statement
import drybank.cli.upkeep
import drybank.cli.learn
import drybank.cli.correcting
import drybank.cli.keeping
