"""List every page that the application serves."""

from api.web.addresses import FILE_PAGES, PAGES, SCHOOL_ACCOUNT_PAGES

ROUTERS = (*FILE_PAGES, *SCHOOL_ACCOUNT_PAGES, *PAGES)

ROUTES = {
    route.name: (method, route.path)
    for router in ROUTERS
    for route in router.routes
    for method in route.methods
}
