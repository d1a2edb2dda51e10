"""Names for the lists of allowed values that several shapes or parameters share."""

from typing import Literal, get_args

from analysis.event.rules import FACTS
from api.models.access.keys import Role
from api.models.core.fields import ReportFormat
from api.models.events.inspections import Outcome as InspectionOutcome
from api.models.events.runs import RunOutcome
from api.models.imports.imports import Mode
from api.models.measurements.flags import FlagAnswer, FlagState, Severity
from api.models.registry.builds import BladeFixing
from api.models.registry.equipment import Condition, EquipmentKind
from api.models.registry.events import DriftDecision
from api.models.registry.organisations import Sharing, WindUnit
from api.models.trials.trials import TrialKind, TrialState
from api.models.webhooks.deliveries import State as DeliveryState
from api.models.webhooks.webhooks import Kind
from api.models.webhooks.webhooks import State as WebhookState

_CHOICES = {
    "BenchVerdict": Literal["fine", "look", "act"],
    "BladeFixing": BladeFixing,
    "CellDelimiter": Literal["comma", "semicolon", "tab"],
    "DecimalSign": Literal["point", "comma"],
    "DeliveryState": DeliveryState,
    "DriftDecision": DriftDecision,
    "EquipmentCondition": Condition,
    "EquipmentKind": EquipmentKind,
    "FlagAnswer": FlagAnswer,
    "FlagSeverity": Severity,
    "FlagState": FlagState,
    "ImportMode": Mode,
    "InspectionOutcome": InspectionOutcome,
    "KeyRole": Role,
    "ListOrder": Literal["created_at", "-created_at"],
    "DatedListOrder": Literal["created_at", "-created_at", "started_at", "-started_at"],
    "NamedListOrder": Literal["created_at", "-created_at", "name", "-name"],
    "ReportFormat": ReportFormat,
    "RuleSeverity": Literal["must", "should"],
    "RunOutcome": RunOutcome,
    "Sharing": Sharing,
    "TrialKind": TrialKind,
    "TrialState": TrialState,
    "WindExponentSource": Literal["default", "own"],
    "WebhookKind": Kind,
    "WebhookState": WebhookState,
    "WindUnit": WindUnit,
}
#: The name of each list of allowed values, by its values.
NAMES: dict[tuple[str, ...], str] = {
    get_args(values): name for name, values in _CHOICES.items()
} | {tuple(sorted(FACTS)): "FactName"}
