// dlib.cpp: dlib's join tree on a network that bench_net wrote.
//
// A product of tables becomes a Bayesian network thus: each variable is a root with a
// level distribution, each table a child of its variables that shows 1 with the table's
// cell (over the largest) and was seen to show 1.  Its parts that hang together nowhere
// are tied by children that tell nothing, for dlib wants one piece.  The marginals
// must then be ringlug's, to 1e-9.
//
// dlib_bench FILE: says the CPU seconds of making the tree and passing its messages, and
// of passing them alone, as bench_net does for ringlug.
#include <dlib/bayes_utils.h>
#include <dlib/directed_graph.h>
#include <dlib/graph.h>
#include <dlib/graph_utils.h>
#include <dlib/set.h>

#include <algorithm>
#include <cmath>
#include <ctime>
#include <fstream>
#include <iostream>
#include <numeric>
#include <vector>

using namespace dlib::bayes_node_utils;

typedef dlib::directed_graph<dlib::bayes_node>::kernel_1a_c network;
typedef dlib::set<unsigned long>::compare_1b_c members;
typedef dlib::graph<members, members>::kernel_1a_c join_tree;
typedef dlib::bayesian_network_join_tree solution;

struct table {
    std::vector<unsigned long> variable;
    std::vector<double> cells;
};

struct product {
    std::vector<unsigned long> size;
    std::vector<table> tables;
    std::vector<std::vector<double>> marginal;
};

static product read_product(const char *path)
{
    std::ifstream in(path);
    in.exceptions(std::ios::failbit | std::ios::badbit);
    size_t variables, factors;
    in >> variables >> factors;
    product net;
    net.size.resize(variables);
    for (auto &size : net.size)
        in >> size;
    for (size_t f = 0; f < factors; f++) {
        table t;
        size_t count, cells = 1;
        in >> count;
        t.variable.resize(count);
        for (auto &v : t.variable) {
            in >> v;
            cells *= net.size[v];
        }
        t.cells.resize(cells);
        for (auto &cell : t.cells)
            in >> cell;
        net.tables.push_back(t);
    }
    for (auto size : net.size) {
        net.marginal.emplace_back(size);
        for (auto &p : net.marginal.back())
            in >> p;
    }
    return net;
}

static size_t root_of(std::vector<size_t> &piece, size_t v)
{
    while (piece[v] != v)
        v = piece[v] = piece[piece[v]];
    return v;
}

// Tables of ones that tie the pieces together.
static void tie(product &net)
{
    std::vector<size_t> piece(net.size.size());
    std::iota(piece.begin(), piece.end(), size_t(0));
    for (auto &t : net.tables)
        for (auto v : t.variable)
            piece[root_of(piece, v)] = root_of(piece, t.variable[0]);
    for (size_t v = 1; v < piece.size(); v++) {
        if (root_of(piece, v) == root_of(piece, 0))
            continue;
        piece[root_of(piece, v)] = root_of(piece, 0);
        net.tables.push_back({{0, v}, std::vector<double>(net.size[0] * net.size[v], 1.0)});
    }
}

static void set_table(network &bn, const product &net, const table &t, unsigned long node)
{
    double largest = *std::max_element(t.cells.begin(), t.cells.end());
    std::vector<unsigned long> value(t.variable.size(), 0);
    for (double cell : t.cells) {
        dlib::assignment parents;
        for (size_t i = 0; i < value.size(); i++)
            parents.add(t.variable[i], value[i]);
        set_node_probability(bn, node, 1, parents, cell / largest);
        set_node_probability(bn, node, 0, parents, 1 - cell / largest);
        for (size_t i = value.size(); i-- > 0 && ++value[i] == net.size[t.variable[i]];)
            value[i] = 0;
    }
    set_node_value(bn, node, 1);
    set_node_as_evidence(bn, node);
}

static void make_network(network &bn, product &net)
{
    tie(net);
    net.tables.erase(std::remove_if(net.tables.begin(), net.tables.end(),
                                    [](const table &t) { return t.variable.empty(); }),
                     net.tables.end());
    unsigned long variables = net.size.size();
    bn.set_number_of_nodes(variables + net.tables.size());
    for (unsigned long v = 0; v < variables; v++) {
        set_node_num_values(bn, v, net.size[v]);
        for (unsigned long i = 0; i < net.size[v]; i++)
            set_node_probability(bn, v, i, dlib::assignment(), 1.0 / double(net.size[v]));
    }
    for (size_t f = 0; f < net.tables.size(); f++) {
        set_node_num_values(bn, variables + f, 2);
        for (auto v : net.tables[f].variable)
            bn.add_edge(v, variables + f);
        set_table(bn, net, net.tables[f], variables + f);
    }
}

static double seconds()
{
    return double(std::clock()) / CLOCKS_PER_SEC;
}

int main(int count, char **word)
{
    if (count != 2) {
        std::cerr << "usage: dlib_bench FILE\n";
        return 2;
    }
    product net = read_product(word[1]);
    network bn;
    make_network(bn, net);
    join_tree tree;
    double start = seconds();
    dlib::create_moral_graph(bn, tree);
    dlib::create_join_tree(tree, tree);
    double made = seconds();
    solution out(bn, tree);
    double passed = seconds();
    double worst = 0;
    for (size_t v = 0; v < net.size.size(); v++) {
        auto p = out.probability(v);
        for (size_t i = 0; i < net.size[v]; i++)
            worst = std::max(worst, std::fabs(p(long(i)) - net.marginal[v][i]));
    }
    std::cout << "all " << passed - start << " s, passed " << passed - made << " s; " << net.size.size() << " variables, " << net.tables.size() << " tables, marginals within " << worst << "\n";
    return worst < 1e-9 ? 0 : 1;
}
