"""Every page there is. To be listed here is to be rendered, and to be held against its template by a test."""

from server.pages.air_contexts import AirPage
from server.pages.beliefs import BeliefsPage
from server.pages.burnout_contexts import BurnoutPage
from server.pages.calibrating import CalibratePage
from server.pages.contexts import (
    MeasurePage,
    ProblemPage,
    QuestionPage,
    UndoPage,
)
from server.pages.devices import DevicesPage
from server.pages.history import HistoryPage
from server.pages.new_tree_context import NewTreePage
from server.pages.next_dips import NextDipsPage
from server.pages.other_nodes import OtherNodesPage
from server.pages.pair import PairPage
from server.pages.phone_trust import PhoneTrustPage
from server.pages.pour_day import PourDayPage
from server.pages.rack_contexts import RackPage
from server.pages.recipes import RecipesPage
from server.pages.settings import SettingsPage
from server.pages.shop import ShopPage
from server.pages.spot_changes import SpotsPage
from server.pages.tags import TagPage, TagsPage
from server.pages.together import TogetherAskedPage, TogetherPage, TogetherSaidPage
from server.pages.told import ToldPage
from server.pages.tree_changes import ChangeTreePage, LeftPage, ScrapPage
from server.pages.tree_contexts import TreePage
from server.pages.tree_notes import NotesPage
from server.pages.wall import WallPage

Page = (
    RackPage
    | TogetherPage
    | TogetherAskedPage
    | TogetherSaidPage
    | WallPage
    | TreePage
    | NotesPage
    | NextDipsPage
    | PourDayPage
    | ChangeTreePage
    | ScrapPage
    | SpotsPage
    | LeftPage
    | MeasurePage
    | QuestionPage
    | UndoPage
    | ProblemPage
    | AirPage
    | CalibratePage
    | BurnoutPage
    | HistoryPage
    | OtherNodesPage
    | ShopPage
    | SettingsPage
    | RecipesPage
    | BeliefsPage
    | NewTreePage
    | TagsPage
    | TagPage
    | PairPage
    | DevicesPage
    | PhoneTrustPage
    | ToldPage
)
