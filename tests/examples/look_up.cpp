// Look up in a table that `matdb export table PART --axis axial --csv table.csv` wrote (C++17; names without commas).
// Takes the file, then lines of degrees Celsius and Hz; answers N/mm and damping ratio.
#include <cmath>
#include <fstream>
#include <iostream>
#include <map>
#include <sstream>
#include <string>

int main(int, char** words) {
  std::ifstream file(words[1]);
  std::map<double, std::map<double, std::map<std::string, double>>> table;  // Hz, degrees Celsius, column
  std::string header, line, name, cell;
  for (std::getline(file, header); std::getline(file, line);) {
    std::istringstream names(header), cells(line);
    std::map<std::string, double> row;
    while (std::getline(names, name, ',') && std::getline(cells, cell, ',')) row[name] = std::strtod(cell.c_str(), nullptr);
    table[row["frequency_hz"]][row["temperature_c"]] = row;
  }
  auto &lowest = *table.begin(), &highest = *table.rbegin();
  for (double t, f; std::cin >> t >> f; std::cout << "\n") {
    if (!(f >= lowest.first && f <= highest.first && t >= lowest.second.begin()->first && t <= lowest.second.rbegin()->first))
      return std::cerr << t << " degC and " << f << " Hz are outside the table\n", 1;
    auto high = table.upper_bound(f);
    if (high == table.end()) --high;
    auto low = std::prev(high);
    const double cold = std::floor(t), u = t - cold, v = std::log(f / low->first) / std::log(high->first / low->first);
    for (auto column : {"stiffness_n_per_mm", "damping_ratio"})
      std::cout << (1 - v) * ((1 - u) * low->second[cold][column] + u * low->second[cold + 1][column]) +
                       v * ((1 - u) * high->second[cold][column] + u * high->second[cold + 1][column]) << " ";
  }
}
